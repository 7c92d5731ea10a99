// Typed texts as cells of the craft, and the rows of the craft that stand for single inputs.

/**
 * @typedef {import("./craft-store.js").Craft} Craft
 * @typedef {import("./craft-store.js").Cell} Cell
 * @typedef {import("./craft-store.js").Row} Row
 * @typedef {{kind: string, unit?: string, columns?: {[name: string]: FieldKind}}} FieldKind
 * @typedef {{table: string, stands_for: {[input: string]: string}, adds_to: string[], names: string[]}} Chooser
 * @typedef {{[member: string]: Chooser}} Choosers the most specific first
 * @typedef {{[member: string]: string}} Chosen the name of the chosen row of each
 */

export const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d{1,3})?$/i;
const WITHOUT_UNIT = /^[+-]?[\d.]+\s*(±|\+?\/-|\+-)\s*[\d.]+$/;
const NUMBERS_ONLY = /^\s*[\d.,+-]+(\s+[\d.,+-]+)*\s*$/;

/**
 * Return typed text as a JSON cell, as the service reads a form; undefined where nothing was typed.
 * @param {FieldKind} kind
 * @param {string} text
 * @param {string} unit the unit beside the field
 * @param {string} decimal the decimal sign of the form
 * @returns {Cell | undefined}
 */
export const toCell = (kind, text, unit = "", decimal = ".") => {
  const typed = text.trim();
  if (!typed) return undefined;
  if (kind.kind === "flag") return { true: true, false: false }[typed] ?? typed;
  if (kind.kind === "series") {
    const parts = typed.split(decimal === "," ? /[;\n]+/ : /[;,\n]+/);
    const items = parts.flatMap((part) => (NUMBERS_ONLY.test(part) ? part.trim().split(/\s+/) : [part]));
    return items.filter((item) => item.trim()).map((item) => toCell({ ...kind, kind: "quantity" }, item, unit, decimal));
  }
  if (kind.kind !== "quantity" && kind.kind !== "count") return typed;
  const number = decimal === "," ? typed.replaceAll(",", ".") : typed;
  const hasOtherUnit = Boolean(unit) && unit !== kind.unit;
  if (NUMBER.test(number)) return hasOtherUnit ? `${number} ${unit}` : Number(number);
  return hasOtherUnit && WITHOUT_UNIT.test(number) ? `${number} ${unit}` : number;
};

/** @returns {Row[]} the rows of a table of the craft */
export const rowsIn = (/** @type {Craft} */ craft, /** @type {string} */ table) => {
  const rows = craft[table];
  return Array.isArray(rows) ? rows.filter((row) => row && typeof row === "object") : [];
};

/** @returns {string} the name of a chooser in words: "Pack" */
export const labelOf = (/** @type {string} */ chooser) => chooser[0].toUpperCase() + chooser.slice(1).replaceAll("_", " ");

/** @returns {string} the name that a row without one has: "Pack 2" */
export const defaultName = (/** @type {string} */ chooser, /** @type {number} */ index) => `${labelOf(chooser)} ${index + 1}`;

/** @returns {string} the default name of a row, with the next number that no row has as its name yet */
export const freeName = (/** @type {Row[]} */ rows, /** @type {string} */ chooser, /** @type {number} */ index) => {
  const name = defaultName(chooser, index);
  return rows.some((row) => row.name === name) ? freeName(rows, chooser, index + 1) : name;
};

/** Remove what a JSON Pointer in a request points to: /craft/NAME or /craft/TABLE/0/COLUMN. */
export const removeAt = (/** @type {Craft} */ craft, /** @type {string} */ pointer) => {
  const [name, ...inner] = pointer.split("/").slice(2).map((part) => part.replaceAll("~1", "/").replaceAll("~0", "~"));
  if (inner.length) delete craft[name][inner[0]][inner[1]]; else delete craft[name];
};

/**
 * Let all that names a row follow its new name, unless another row still has the old one.
 * @param {Craft} craft
 * @param {{table: string, column: string}[]} references the columns that name rows of the table
 * @param {string} table
 * @param {string} from
 * @param {string} to
 * @returns {boolean} whether they follow
 */
export const renameRow = (craft, references, table, from, to) => {
  if (rowsIn(craft, table).some(({ name }) => name === from)) return false;
  for (const { table: naming, column } of references) {
    for (const row of rowsIn(craft, naming)) if (row[column] === from) row[column] = to;
  }
  return true;
};

/**
 * Return the place of the row that a chooser shows. The row of another chooser may name it (the pack of a flight), else
 * it is the chosen one, else the first.
 * @param {Craft} craft
 * @param {Choosers} choosers
 * @param {Chosen} chosen
 * @param {string} member
 * @returns {number}
 */
export const chosenIndex = (craft, choosers, chosen, member) => {
  const rows = rowsIn(craft, choosers[member].table);
  const namedBy = Object.keys(choosers).find((other) => choosers[other].names.includes(member));
  const name = namedBy ? rowsIn(craft, choosers[namedBy].table)[chosenIndex(craft, choosers, chosen, namedBy)]?.[member] : undefined;
  const wanted = name ?? chosen[member];
  return wanted === undefined ? 0 : Math.max(0, rows.findIndex((row) => row.name === wanted));
};

/**
 * Return the chosen row that holds an input: the first that has its column, else that of the most general table, since it
 * fills more pages. Null: the input is a member of the craft.
 * @param {Craft} craft
 * @param {Choosers} choosers
 * @param {Chosen} chosen
 * @param {string} input
 * @returns {{member: string, table: string, column: string, index: number} | null}
 */
export const placeOf = (craft, choosers, chosen, input) => {
  const places = Object.entries(choosers).filter(([, { stands_for }]) => input in stands_for).map(([member, { table, stands_for }]) => (
    { member, table, column: stands_for[input], index: chosenIndex(craft, choosers, chosen, member) }));
  return places.find(({ table, index, column }) => column in (rowsIn(craft, table)[index] ?? {})) ?? places.at(-1) ?? null;
};

/** Set a member of an object, or remove it where there is no value. */
const setOrDelete = (/** @type {Row} */ object, /** @type {string} */ name, /** @type {Cell | undefined} */ value) => {
  if (value === undefined) delete object[name]; else object[name] = value;
};

/**
 * Put a single input into the craft: into the chosen row that holds it, or the first one that this makes.
 * @param {Craft} craft
 * @param {Choosers} choosers
 * @param {Chosen} chosen
 * @param {string} input
 * @param {Cell | undefined} cell
 */
export const putInput = (craft, choosers, chosen, input, cell) => {
  const place = placeOf(craft, choosers, chosen, input);
  if (!place) return setOrDelete(craft, input, cell);
  if (!rowsIn(craft, place.table).length) {
    if (cell === undefined) return;
    addRow(craft, place.table, { name: defaultName(place.member, 0) });
  }
  putCell(craft, place.table, place.index, place.column, cell);
};

/** Put a cell into a row of the craft. */
export const putCell = (/** @type {Craft} */ craft, /** @type {string} */ table, /** @type {number} */ index, /** @type {string} */ column, /** @type {Cell | undefined} */ cell) => {
  setOrDelete(craft[table][index], column, cell);
};

/** Append a row to a table of the craft; return its place. */
export const addRow = (/** @type {Craft} */ craft, /** @type {string} */ table, /** @type {Row} */ row) => {
  craft[table] = [...rowsIn(craft, table), row];
  return craft[table].length - 1;
};

/** Remove a row from a table of the craft, and the table with the last one. */
export const removeRow = (/** @type {Craft} */ craft, /** @type {string} */ table, /** @type {number} */ index) => {
  const rows = rowsIn(craft, table).filter((_, at) => at !== index);
  setOrDelete(craft, table, rows.length ? rows : undefined);
};
