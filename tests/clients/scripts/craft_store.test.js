// Tests of the stored craft, in Node.
import assert from "node:assert/strict";
import { beforeEach, test } from "node:test";
import { addressOf, changeCraft, choose, clearCraft, craftInFragment, readChosen, readCraft, replaceCraft, summarize, whereStored, writeCraft } from "./craft-store.js";

const makeStorage = () => {
  const texts = new Map();
  return { getItem: (key) => texts.get(key) ?? null, setItem: (key, text) => texts.set(key, text), removeItem: (key) => texts.delete(key), texts };
};

beforeEach(() => { globalThis.localStorage = makeStorage(); });

test("a craft is stored, changed and removed", () => {
  writeCraft({ kv: 2400 });
  changeCraft((craft) => { craft.mass_limit = 250; });
  choose("pack", "six");
  assert.deepEqual([readCraft(), readChosen(), whereStored()], [{ kv: 2400, mass_limit: 250 }, { pack: "six" }, "stored on this device"]);
  clearCraft();
  assert.equal(localStorage.texts.size, 0, "nothing is left on the device");
});

test("a damaged text is no craft", () => {
  for (const text of ["{", "[1]", "null", "3"]) {
    localStorage.setItem("gramwatt.craft", text);
    assert.deepEqual(readCraft(), {});
  }
});

test("without storage the craft lives as long as the page", () => {
  globalThis.localStorage = { getItem: () => null, setItem: () => { throw new Error("blocked"); }, removeItem: () => {} };
  writeCraft({ kv: 1 });
  assert.deepEqual([readCraft(), whereStored()], [{ kv: 1 }, "until you leave: this browser stores nothing"]);
  globalThis.localStorage = makeStorage();
  writeCraft({ kv: 2 });
  assert.deepEqual([readCraft(), whereStored()], [{ kv: 2 }, "stored on this device"]);
});

test("a full storage keeps no edit, and rejects another craft", () => {
  writeCraft({ kv: 1 });
  localStorage.setItem = () => { throw new DOMException("full", "QuotaExceededError"); };
  assert.equal(replaceCraft({ kv: 3 }), false);
  assert.deepEqual([readCraft(), whereStored()], [{ kv: 1 }, "stored on this device"]);
  changeCraft((craft) => { craft.kv = 2; });
  assert.deepEqual([readCraft(), whereStored()], [{ kv: 2 }, "until you leave: the storage of this browser is full"]);
  globalThis.localStorage = makeStorage();
  assert.equal(replaceCraft({ kv: 3 }), true);
  assert.deepEqual(JSON.parse(localStorage.getItem("gramwatt.craft")), { kv: 3 });
});

test("what is no row is left out of a table", () => {
  writeCraft({ packs: [null, { name: "four" }, 6], masses: [38.4, null], parts: [] });
  assert.deepEqual(readCraft(), { packs: [{ name: "four" }], masses: [38.4, null], parts: [] });
});

test("an address holds a craft", () => {
  const craft = { parts: [{ name: "frame & \"arms\" #1", mass: "38.4 ± 0.1 g" }] };
  const address = addressOf(craft, "http://localhost/calculators/build");
  assert.deepEqual(craftInFragment(new URL(address).hash), craft);
  for (const fragment of ["", "#results", "#craft=%7B", "#craft=%E0%A4%A", "#craft=%7B%7D"]) assert.equal(craftInFragment(fragment), null);
});

test("a summary counts rows and figures", () => {
  assert.equal(summarize({ parts: [{}, {}], packs: [{}], kv: 1, masses: [1, 2] }, { packs: "pack" }), "2 parts, 1 pack and 2 more figures");
  assert.equal(summarize({ kv: 1 }, {}), "1 figure");
  assert.equal(summarize({}, {}), "");
});
