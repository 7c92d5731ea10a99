// Your craft: the same JSON document as in the API, in the storage of the browser.

/**
 * @typedef {string | number | boolean | null | Cell[] | {[name: string]: Cell}} Cell
 * @typedef {{[column: string]: Cell}} Row
 * @typedef {{[name: string]: Cell | Row[]}} Craft
 */

const CRAFT = "gramwatt.craft";
const CHOSEN = "gramwatt.chosen";
const EXAMPLES = "gramwatt.examples";
/** @type {((craft: Craft) => void)[]} */
const listeners = [];
/** What the browser did not store, until the page is left. @type {Map<string, string>} */
const memory = new Map();
/** Whether the browser's storage is full, rather than missing. */
let isFull = false;

const get = (/** @type {string} */ key) => {
  try { return memory.get(key) ?? localStorage.getItem(key) ?? ""; } catch { return ""; }
};

/** Store a text. Throws where the browser does not. */
const store = (/** @type {string} */ key, /** @type {string} */ text) => {
  if (text) localStorage.setItem(key, text); else localStorage.removeItem(key);
};

const set = (/** @type {string} */ key, /** @type {string} */ text) => {
  memory.delete(key);
  try { store(key, text); } catch (error) {
    isFull = isQuotaError(error);
    memory.set(key, text);
  }
};

const isQuotaError = (/** @type {unknown} */ error) => error instanceof DOMException && error.name === "QuotaExceededError";

const isObject = (/** @type {unknown} */ value) => Boolean(value) && typeof value === "object" && !Array.isArray(value);

/** Return a craft without entries of its tables that are no rows. */
export const tidy = (/** @type {Craft} */ craft) => Object.fromEntries(Object.entries(craft).map(([name, value]) => (
  [name, Array.isArray(value) && value.some(isObject) ? value.filter(isObject) : value])));

const parse = (/** @type {string} */ text) => {
  try {
    const value = JSON.parse(text || "{}");
    return isObject(value) ? tidy(value) : {};
  } catch { return {}; }
};

/** @returns {string} where the craft is stored, in words */
export const whereStored = () => {
  if (!memory.size) return "stored on this device";
  return isFull ? "until you leave: the storage of this browser is full" : "until you leave: this browser stores nothing";
};

/** @returns {Craft} the craft, which is empty where there is none */
export const readCraft = () => parse(get(CRAFT));

export const isEmpty = (/** @type {Craft} */ craft) => !Object.keys(craft).length;

/** Store a craft, and notify all listeners. */
export const writeCraft = (/** @type {Craft} */ craft) => {
  set(CRAFT, isEmpty(craft) ? "" : JSON.stringify(craft));
  for (const listener of listeners) listener(craft);
};

/**
 * Replace the craft by another, unless the browser's storage is too small for it.
 * @returns {boolean} whether it is replaced
 */
export const replaceCraft = (/** @type {Craft} */ craft) => {
  try { store(CRAFT, JSON.stringify(craft)); } catch (error) { if (isQuotaError(error)) return false; }
  set(EXAMPLES, "");
  writeCraft(craft);
  return true;
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
  addEventListener("storage", ({ key }) => {
    if (key !== CRAFT && key !== CHOSEN && key !== null) return;
    memory.clear();
    listener(readCraft(), true);
  });
};

/** @returns {{[chooser: string]: string}} the name of the row that each chooser shows */
export const readChosen = () => parse(get(CHOSEN));

export const choose = (/** @type {string} */ chooser, /** @type {string} */ name) => {
  set(CHOSEN, JSON.stringify({ ...readChosen(), [chooser]: name }));
};

/** @returns {{[path: string]: string}} by page, the figures of its example that stay beside the craft, as a query */
export const readExamples = () => parse(get(EXAMPLES));

export const storeExample = (/** @type {string} */ page, /** @type {string} */ figures) => {
  set(EXAMPLES, JSON.stringify({ ...readExamples(), [page]: figures }));
};

/** Forget the craft, what was chosen of it, and what is beside it. */
export const clearCraft = () => {
  set(CHOSEN, "");
  set(EXAMPLES, "");
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
 * @param {{[table: string]: string}} rowLabels what one row of each table is called
 */
export const summarize = (craft, rowLabels) => {
  const tables = Object.entries(craft).filter(([, value]) => Array.isArray(value) && value.some(isObject));
  const figures = Object.keys(craft).length - tables.length;
  const texts = tables.map(([name, rows]) => `${rows.length} ${rows.length === 1 ? rowLabels[name] ?? name : name}`);
  if (figures) texts.push(`${figures} ${tables.length ? "more " : ""}${figures === 1 ? "figure" : "figures"}`);
  return new Intl.ListFormat("en-GB", { type: "conjunction" }).format(texts);
};
