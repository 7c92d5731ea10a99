// Recordings of the craft, in IndexedDB, since they are too large for local storage.
import { isEmpty } from "./craft-store.js";
import { toCsv, toLists } from "./recording-picker.js";

/**
 * @typedef {{file: File, time: string, columns: {[channel: string]: string}, decimal?: string}} StoredRecording the channel
 *   of the time, the columns that were chosen for channels, and the decimal sign, by default a point
 */

const STORE = "recordings";
/** Recordings where the browser has no storage. @type {Map<string, StoredRecording>} */
const memory = new Map();

const database = () => new Promise((resolve, reject) => {
  const request = indexedDB.open("gramwatt", 1);
  request.onupgradeneeded = () => request.result.createObjectStore(STORE);
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

/** Run one request on the store; undefined where the browser has none, or no room. */
const run = async (mode, action) => {
  try {
    const opened = await database();
    try {
      return await new Promise((resolve, reject) => {
        const transaction = opened.transaction(STORE, mode);
        const request = action(transaction.objectStore(STORE));
        transaction.oncomplete = () => resolve(request.result);
        transaction.onabort = () => reject(transaction.error); // such as a full storage, after the request has succeeded
      });
    } finally {
      opened.close();
    }
  } catch { return undefined; }
};

/** @returns {Promise<StoredRecording | undefined>} */
export const readRecording = async (/** @type {string} */ key) => memory.get(key) ?? run("readonly", (store) => store.get(key));

/** Store a recording, or delete it where there is none. */
export const writeRecording = async (/** @type {string} */ key, /** @type {StoredRecording | null} */ recording) => {
  memory.delete(key);
  if (!recording) return void await run("readwrite", (store) => store.delete(key));
  if (await run("readwrite", (store) => store.put(recording, key)) === undefined) memory.set(key, recording);
};

export const clearRecordings = async () => {
  memory.clear();
  await run("readwrite", (store) => store.clear());
};

/**
 * Remove the recordings of a row that was removed, and give those of later rows their new places.
 * @param {string} table
 * @param {number} index
 * @param {number} count the rows that are left
 */
export const removeRowRecordings = async (table, index, count) => {
  const columns = new Set((await recordingKeys()).filter((key) => key.startsWith(`${table}.`)).map((key) => key.split(".")[2]));
  for (const column of columns) {
    for (let at = index; at < count; at += 1) await writeRecording(keyOf(table, at, column), await readRecording(keyOf(table, at + 1, column)) ?? null);
    await writeRecording(keyOf(table, count, column), null);
  }
};

/** @returns {Promise<string[]>} the keys of all recordings */
export const recordingKeys = async () => [...new Set([...await run("readonly", (store) => store.getAllKeys()) ?? [], ...memory.keys()])];

/** @returns {string} the key of the recording in a row */
export const keyOf = (/** @type {string} */ table, /** @type {number} */ index, /** @type {string} */ column) => `${table}.${index}.${column}`;

/**
 * Return a craft with its recordings in it, as a file holds them: lists by the name of the channel.
 * @param {import("./craft-store.js").Craft} craft
 * @returns {Promise<{whole: import("./craft-store.js").Craft, binary: string[]}>} the craft, and the names of files that
 *   have no lists
 */
export const withRecordings = async (craft) => {
  const whole = structuredClone(craft);
  const binary = [];
  for (const key of await recordingKeys()) {
    const recording = await readRecording(key);
    if (!recording) continue;
    const lists = toLists(await recording.file.text(), recording.time, recording.columns, recording.decimal);
    if (isEmpty(lists)) { binary.push(recording.file.name); continue; }
    const [table, index, column] = key.split(".");
    if (column === undefined) whole[key] = lists;
    else if (whole[table]?.[index]) whole[table][index][column] = lists;
  }
  return { whole, binary };
};

/** Whether a cell is a recording: lists by the name of the channel. */
const isRecording = (cell) => Boolean(cell) && typeof cell === "object" && !Array.isArray(cell) && Object.values(cell).every(Array.isArray) && !isEmpty(cell);

/**
 * Take the recordings out of a craft.
 * @param {import("./craft-store.js").Craft} craft
 * @returns {{rest: import("./craft-store.js").Craft, recordings: Map<string, StoredRecording>}} the craft without them
 */
export const splitRecordings = (craft) => {
  const rest = structuredClone(craft);
  const recordings = new Map();
  const split = (owner, name, key) => {
    if (!isRecording(owner[name])) return;
    const file = new File([toCsv(owner[name])], `${key}.csv`, { type: "text/csv" });
    recordings.set(key, { file, time: Object.keys(owner[name])[0], columns: {} });
    delete owner[name];
  };
  for (const [name, value] of Object.entries(rest)) {
    split(rest, name, name);
    if (!Array.isArray(value)) continue;
    for (const [index, row] of value.entries()) {
      for (const column of Object.keys(Object(row))) split(row, column, keyOf(name, index, column));
    }
  }
  return { rest, recordings };
};
