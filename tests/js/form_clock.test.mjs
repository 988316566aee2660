import assert from "node:assert/strict";
import { test } from "node:test";

import { bagged, clock, countdown, day, minuteOfDay, momentOf, written } from "../../stressmap/output/web/form/clock.js";

const ZONE = "America/Los_Angeles";

test("a moment is shown on the ranch's clock, with its offset, summer and winter", () => {
  // Pacific time is UTC-7 in summer and UTC-8 in winter (time zone database).
  const summer = Date.UTC(2026, 6, 14, 20, 5, 9), winter = Date.UTC(2026, 0, 5, 7, 30);
  assert.deepEqual([day(summer, ZONE), clock(summer, ZONE), written(summer, ZONE)], ["2026-07-14", "13:05", "2026-07-14T13:05:09-07:00"]);
  assert.equal(written(winter, ZONE), "2026-01-04T23:30:00-08:00");
  assert.equal(written(summer, "Asia/Kolkata"), "2026-07-15T01:35:09+05:30");
  assert.equal(minuteOfDay(summer, ZONE), 13 * 60 + 5 + 9 / 60);
});

test("a day and a clock give their moment back, also over the change of clocks", () => {
  for (const [date, time] of [["2026-07-14", "13:05"], ["2026-01-04", "23:30"], ["2026-03-08", "01:30"], ["2026-11-01", "03:10"]]) {
    const found = momentOf(date, time, ZONE);
    assert.deepEqual([day(found, ZONE), clock(found, ZONE)], [date, time]);
  }
  // 1 November 2026, 01:30 is passed twice; the first is still summer time.
  assert.equal(written(momentOf("2026-11-01", "01:30", ZONE), ZONE), "2026-11-01T01:30:00-07:00");
  assert.equal(momentOf("", "13:05", ZONE), null);
});

test("the bag's time is a difference of stored times", () => {
  const on = Date.UTC(2026, 6, 14, 20, 0);
  assert.deepEqual(bagged(on, on + 4 * 60000, 10), { minutes: 4, left: 360000, ready: false, wrongClock: false });
  assert.deepEqual(bagged(on, on + 10 * 60000, 10), { minutes: 10, left: 0, ready: true, wrongClock: false });
  assert.equal(bagged(on, on - 1, 10).wrongClock, true);
  assert.deepEqual([countdown(600000), countdown(59001), countdown(0)], ["10:00", "1:00", "0:00"]);
});
