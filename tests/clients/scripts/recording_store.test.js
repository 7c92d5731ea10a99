// Tests of the stored recordings, in Node: a browser without storage, and one whose storage is full.
import assert from "node:assert/strict";
import { test } from "node:test";
import { clearRecordings, readRecording, recordingKeys, withRecordings, writeRecording } from "./recording-store.js";

const makeRecording = (name, text, more = {}) => ({ file: new File([text], name), time: "time", columns: {}, ...more });

/** A database in which requests succeed, and a transaction that writes is aborted where `isFull`. */
const makeDatabase = (isFull) => {
  const entries = new Map();
  const later = (request, event, result) => { request.result = result; queueMicrotask(() => request[event]?.()); return request; };
  const transaction = (_, mode) => {
    const handlers = {};
    const end = (request) => setTimeout(() => (isFull && mode === "readwrite" ? handlers.onabort?.() : handlers.oncomplete?.()), 1) && request;
    return Object.assign(handlers, {
      error: new DOMException("full", "QuotaExceededError"),
      objectStore: () => ({
        get: (key) => end(later({}, "onsuccess", entries.get(key))),
        getAllKeys: () => end(later({}, "onsuccess", [...entries.keys()])),
        put: (value, key) => { if (!isFull) entries.set(key, value); return end(later({}, "onsuccess", key)); },
        clear: () => { entries.clear(); return end(later({}, "onsuccess")); },
      }),
    });
  };
  globalThis.indexedDB = { open: () => later({}, "onsuccess", { transaction, close: () => {} }) };
  return entries;
};

test("a recording is stored once its transaction is complete", async () => {
  const entries = makeDatabase(false);
  const recording = makeRecording("log.csv", "time\n0\n");
  await writeRecording("log", recording);
  assert.deepEqual([...entries.keys()], ["log"]);
  assert.equal(await readRecording("log"), recording);
});

test("a recording that does not fit lives as long as the page", async () => {
  makeDatabase(true);
  const recording = makeRecording("log.csv", "time\n0\n");
  await writeRecording("log", recording);
  assert.equal(await readRecording("log"), recording);
  assert.deepEqual(await recordingKeys(), ["log"]);
});

test("a file of the craft holds recordings as numbers, and says which it leaves out", async () => {
  delete globalThis.indexedDB;
  await clearRecordings();
  await writeRecording("flights.0.log", makeRecording("dusk.csv", "time;voltage\n0;16,1\n", { decimal: "," }));
  await writeRecording("flights.1.log", makeRecording("dawn.arrow", "\u00ff\u0000\u0001\n"));
  const { whole, binary } = await withRecordings({ flights: [{ name: "dusk" }, { name: "dawn" }] });
  assert.deepEqual(whole, { flights: [{ name: "dusk", log: { time: [0], voltage: [16.1] } }, { name: "dawn" }] });
  assert.deepEqual(binary, ["dawn.arrow"]);
});
