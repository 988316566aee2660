// Starts the page and keeps it in step with clock, position and store.
import { bagged, clock } from "./clock.js";
import { outsideWindow } from "./checks.js";
import { codesScreen } from "./codes_screen.js";
import { arrivedScreen, handOverScreen } from "./hand_over.js";
import { EventLog, randomId } from "./log.js";
import { app, byId, hooks, key, lengthText, make, now, refold, show, store, tell, word, zone } from "./page.js";
import { whereIs } from "./places.js";
import { doubtScreen, noteScreen, readingScreen, renewDoubts } from "./reading.js";
import { waiting } from "./record.js";
import { countdownOf, dayScreen, newTreeScreen, treeScreen, treesScreen } from "./trees.js";
import { newSetScreen, setScreen, valvesScreen } from "./valves.js";

const SCREENS = {
  trees: treesScreen, day: dayScreen, tree: treeScreen, new_tree: newTreeScreen, reading: readingScreen, doubt: doubtScreen, note: noteScreen,
  valves: valvesScreen, set: setScreen, new_set: newSetScreen, hand_over: handOverScreen, arrived: arrivedScreen, codes: codesScreen,
};
const TABS = { trees: ["trees", "day", "tree", "new_tree", "reading", "doubt", "note"], valves: ["valves", "set", "new_set"], hand_over: ["hand_over", "arrived", "codes"] };
const LOOK_MS = 20000;
const LANGUAGE = "stressmap-form language";

function tabs() {
  const due = waiting(app.work), count = due.readings.length + due.sets.length;
  const one = ([name, screens]) => {
    const here = screens.includes(app.screen.name);
    const badge = name === "hand_over" && count ? make("b", { class: "badge", text: count }) : null;
    return make("button", { type: "button", "aria-current": here ? "page" : null, "data-tab": name, on: { click: () => show(name) } }, make("span", { text: `${word(`tab.${name}`)} ` }), badge);
  };
  return Object.entries(TABS).map(one);
}

function position() {
  if (!app.fix) return word(app.fixProblem ? `place.${app.fixProblem}` : "place.waiting");
  const { block } = whereIs(app.fix, app.data);
  return word("place.in", { block: block || word("place.outside"), length: lengthText(app.fix.accuracy) });
}

function strip() {
  const out = outsideWindow(now(), app.data.rules, zone()), [from, to] = app.data.rules.windowText;
  byId("where").textContent = position();
  byId("time").textContent = clock(now(), zone());
  byId("window").textContent = word(out ? "window.out" : "window.in", { from, to });
  byId("window").className = out ? "out" : "";
}

// What changes by the second, without touching anything that is being typed.
function tick() {
  strip();
  renewDoubts();
  for (const element of document.querySelectorAll("[data-bag]")) {
    const reading = app.work.readings.find(({ id }) => id === element.dataset.bag);
    const text = reading ? countdownOf(reading) : "";
    if (element.textContent !== text) element.textContent = text;
    const row = element.closest("li");
    if (row && reading) row.classList.toggle("ready", bagged(reading.bagAt, now(), app.data.rules.bagMinutes).ready);
  }
}

function draw() {
  document.documentElement.lang = app.language;
  document.title = word("page.title", { ranch: app.data.ranch.name });
  byId("screen").replaceChildren(SCREENS[app.screen.name](app.screen));
  byId("tabs").replaceChildren(...tabs());
  byId("tabs").hidden = app.screen.name === "reading"; // The keys need the room.
  byId("tabs").setAttribute("aria-label", word("tab.label"));
  const others = app.data.languages.filter((language) => language !== app.language);
  byId("languages").replaceChildren(...others.map((language) => key(language.toUpperCase(), () => speak(language), { lang: language, "aria-label": `${language.toUpperCase()}: ${app.data.words[language].locale.language}` })));
  strip();
}

function speak(language) {
  app.language = language;
  window.localStorage.setItem(LANGUAGE, language);
  draw();
}

function follow() {
  if (!navigator.geolocation) {
    app.fixProblem = "none";
    return;
  }
  const found = ({ coords, timestamp }) => {
    app.fix = { lon: coords.longitude, lat: coords.latitude, accuracy: Math.round(coords.accuracy * 10) / 10, at: Math.min(timestamp, now()) };
    strip();
  };
  const problem = ({ code }) => { app.fixProblem = code === 1 ? "refused" : "none"; strip(); };
  const how = { enableHighAccuracy: true, maximumAge: 5000 };
  navigator.geolocation.watchPosition(found, problem, how);
  // Some phones tell a watcher nothing while one stands still.
  window.setInterval(() => { if (!document.hidden) navigator.geolocation.getCurrentPosition(found, () => {}, how); }, LOOK_MS);
}

// Asked for again and again, as phones answer by what they have learnt of the page.
async function keep() {
  if (!navigator.storage || !navigator.storage.persist) return;
  app.kept = (await navigator.storage.persisted()) || (await navigator.storage.persist());
}

async function install() {
  if (!("serviceWorker" in navigator)) return;
  const before = navigator.serviceWorker.controller;
  navigator.serviceWorker.addEventListener("controllerchange", () => { if (before) tell(word("said.renewed"), () => window.location.reload(), "key.reload"); });
  await navigator.serviceWorker.register("service_worker.js");
}

async function reload() {
  app.events = await app.log.all();
  refold();
}

const LISTS = ["trees", "valves", "hand_over"];

// Another page of this form on the same phone may have added something meanwhile.
async function awake() {
  await reload();
  if (LISTS.includes(app.screen.name)) draw();
  else tick();
}

async function start() {
  app.data = await (await fetch("data.json")).json();
  const liked = window.localStorage.getItem(LANGUAGE);
  app.language = app.data.languages.includes(liked) ? liked : app.data.languages[0];
  byId("ranch").textContent = app.data.ranch.name;
  app.log = await EventLog.open(app.data.ranch.key);
  await reload();
  hooks.draw = draw;
  if (!app.work.phone) await store({ kind: "phone", mark: randomId().slice(0, 4) });
  draw();
  follow();
  window.setInterval(tick, 1000);
  document.addEventListener("visibilitychange", async () => { if (!document.hidden) await awake(); });
  await Promise.all([keep(), install()]);
}

start().catch((error) => { byId("screen").replaceChildren(make("p", { class: "warn", role: "alert", text: `${document.body.dataset.broken} (${error.name})` })); });
