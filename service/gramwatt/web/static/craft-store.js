// Your craft: the same JSON document as in the API, in the storage of the browser.

/**
 * @typedef {string | number | boolean | null | Cell[] | {[name: string]: Cell}} Cell
 * @typedef {{[column: string]: Cell}} Row
 * @typedef {{[name: string]: Cell | Row[]}} Craft
 */

const CRAFT = "gramwatt.craft";
const CHOSEN = "gramwatt.chosen";
/** @type {((craft: Craft) => void)[]} */
const listeners = [];
/** Used where the browser has no storage, until the page is left. @type {Map<string, string>} */
const memory = new Map();

const get = (/** @type {string} */ key) => {
  try { return localStorage.getItem(key) ?? memory.get(key) ?? ""; } catch { return memory.get(key) ?? ""; }
};

const set = (/** @type {string} */ key, /** @type {string} */ text) => {
  memory.delete(key);
  try {
    if (text) localStorage.setItem(key, text); else localStorage.removeItem(key);
  } catch { memory.set(key, text); }
};

const parse = (/** @type {string} */ text) => {
  try {
    const value = JSON.parse(text || "{}");
    return value && typeof value === "object" && !Array.isArray(value) ? value : {};
  } catch { return {}; }
};

/** Whether the last change is stored on this device. */
export const isStored = () => !memory.size;

/** @returns {Craft} the craft, which is empty where there is none */
export const readCraft = () => parse(get(CRAFT));

export const isEmpty = (/** @type {Craft} */ craft) => !Object.keys(craft).length;

/** Store a craft, and notify all listeners. */
export const writeCraft = (/** @type {Craft} */ craft) => {
  set(CRAFT, isEmpty(craft) ? "" : JSON.stringify(craft));
  for (const listener of listeners) listener(craft);
};

/** Change the craft by a function, and store it. */
export const changeCraft = (/** @type {(craft: Craft) => void} */ change) => {
  const craft = readCraft();
  change(craft);
  writeCraft(craft);
};

/** Call a function after each change of the craft, in other tabs too. */
export const onCraft = (/** @type {(craft: Craft, elsewhere?: boolean) => void} */ listener) => {
  listeners.push(listener);
  addEventListener("storage", ({ key }) => { if (key === CRAFT || key === CHOSEN || key === null) listener(readCraft(), true); });
};

/** @returns {{[chooser: string]: string}} the name of the row that each chooser shows */
export const readChosen = () => parse(get(CHOSEN));

export const choose = (/** @type {string} */ chooser, /** @type {string} */ name) => {
  set(CHOSEN, JSON.stringify({ ...readChosen(), [chooser]: name }));
};

/** Forget the craft and what was chosen of it. */
export const clearCraft = () => {
  set(CHOSEN, "");
  writeCraft({});
};

/** @returns {string} the address of a craft, at a page */
export const addressOf = (/** @type {Craft} */ craft, /** @type {string} */ page) => `${page}#craft=${encodeURIComponent(JSON.stringify(craft))}`;

/** @returns {Craft | null} the craft in the fragment of an address */
export const craftInFragment = (/** @type {string} */ fragment) => {
  if (!fragment.startsWith("#craft=")) return null;
  try {
    const craft = parse(decodeURIComponent(fragment.slice("#craft=".length)));
    return isEmpty(craft) ? null : craft;
  } catch { return null; }
};

/**
 * Count what a craft holds, in words: "7 parts, 4 packs and 5 more figures".
 * @param {Craft} craft
 */
export const summarize = (craft) => {
  const tables = Object.entries(craft).filter(([, value]) => Array.isArray(value) && value.length && typeof value[0] === "object");
  const figures = Object.keys(craft).length - tables.length;
  const texts = tables.map(([name, rows]) => `${rows.length} ${rows.length === 1 ? name.replace(/s$/, "") : name}`);
  if (figures) texts.push(`${figures} ${tables.length ? "more " : ""}${figures === 1 ? "figure" : "figures"}`);
  return new Intl.ListFormat("en-GB", { type: "conjunction" }).format(texts);
};
