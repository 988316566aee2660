// The phone's own store: events are only ever added, each safely on the disk before it counts.
const STORE = "events";
const wait = (request) => new Promise((done, failed) => {
  request.onsuccess = () => done(request.result);
  request.onerror = () => failed(request.error);
});

function opened(name) {
  const request = window.indexedDB.open(name, 1);
  request.onupgradeneeded = () => request.result.createObjectStore(STORE, { autoIncrement: true });
  return wait(request);
}

// All of the events are on the disk once this resolves, or none of them is.
function written(database, events) {
  return new Promise((done, failed) => {
    const change = database.transaction(STORE, "readwrite", { durability: "strict" });
    change.oncomplete = () => done();
    change.onabort = () => failed(change.error);
    change.onerror = () => failed(change.error);
    for (const event of events) change.objectStore(STORE).add(event);
  });
}

export class EventLog {
  // Opens the store of a ranch; of two ranches on one host each has its own.
  static async open(ranch) {
    const name = `stressmap-form ${ranch}`;
    return new EventLog(name, await opened(name));
  }

  constructor(name, database) {
    this.name = name;
    this.database = database;
  }

  // Some phones cut the connection while the page sleeps: what fails by that has written nothing and is tried anew.
  async tried(act) {
    try {
      return await act(this.database);
    } catch (error) {
      if (error && error.name === "QuotaExceededError") throw error;
      this.database = await opened(this.name);
      return act(this.database);
    }
  }

  all() {
    return this.tried((database) => wait(database.transaction(STORE).objectStore(STORE).getAll()));
  }

  add(events) {
    return this.tried((database) => written(database, events));
  }
}

// A random identity: version 4 of RFC 9562. Older phones have no randomUUID.
export function randomId() {
  if (window.crypto.randomUUID) return window.crypto.randomUUID();
  const bytes = window.crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
