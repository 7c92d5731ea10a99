// Tests of what the pages put into the craft, in Node.
import assert from "node:assert/strict";
import { test } from "node:test";
import { addRow, chosenIndex, freeName, placeOf, putCell, putInput, removeRow, renameRow } from "./craft-cells.js";

/** A page about a recorded flight, whose pack is a row of its own. */
const CHOOSERS = {
  flight: { table: "flights", stands_for: { cells: "cells", log: "log", begin: "begin" }, adds_to: [], names: ["pack"] },
  pack: { table: "packs", stands_for: { cells: "cells", pack_mass: "mass" }, adds_to: [], names: [] },
};
const twoPacks = () => ({ packs: [{ name: "four", cells: 4 }, { name: "six", cells: 6 }] });

test("a single input is a member of the craft", () => {
  const craft = { kv: 2400 };
  putInput(craft, CHOOSERS, {}, "mass_limit", 250);
  putInput(craft, CHOOSERS, {}, "kv", undefined);
  assert.deepEqual(craft, { mass_limit: 250 });
});

test("the first figure of a pack makes the row", () => {
  const craft = {};
  putInput(craft, CHOOSERS, {}, "pack_mass", undefined);
  assert.deepEqual(craft, {});
  putInput(craft, CHOOSERS, {}, "pack_mass", "212 ± 1");
  assert.deepEqual(craft, { packs: [{ name: "Pack 1", mass: "212 ± 1" }] });
});

test("a figure goes to the chosen row, under the name that it has there", () => {
  const craft = twoPacks();
  putInput(craft, CHOOSERS, { pack: "six" }, "pack_mass", 228);
  putInput(craft, CHOOSERS, { pack: "no such" }, "cells", 3);
  assert.deepEqual(craft.packs, [{ name: "four", cells: 3 }, { name: "six", cells: 6, mass: 228 }]);
});

test("a row that has the column keeps it; a column of both goes to the pack", () => {
  const craft = { ...twoPacks(), flights: [{ name: "evening" }] };
  assert.equal(placeOf(craft, CHOOSERS, {}, "cells").table, "packs");
  assert.equal(placeOf(craft, CHOOSERS, {}, "begin").table, "flights");
  craft.flights[0].cells = 4;
  assert.equal(placeOf(craft, CHOOSERS, {}, "cells").table, "flights");
  assert.equal(placeOf(craft, CHOOSERS, {}, "elevation"), null);
});

test("a flight names its pack", () => {
  const craft = { ...twoPacks(), flights: [{ name: "evening", pack: "six" }, { name: "morning" }] };
  assert.equal(chosenIndex(craft, CHOOSERS, { pack: "four" }, "pack"), 1);
  assert.equal(chosenIndex(craft, CHOOSERS, { pack: "six", flight: "morning" }, "pack"), 1);
  assert.equal(chosenIndex(craft, CHOOSERS, { flight: "morning" }, "pack"), 0);
});

test("while nothing is chosen it is the first row, as in the service", () => {
  const craft = { packs: [{ name: "four", cells: 4 }, { cells: 6 }], flights: [{ name: "dusk" }, { pack: "four" }] };
  for (const member of ["pack", "flight"]) assert.equal(chosenIndex(craft, CHOOSERS, {}, member), 0);
  putInput(craft, CHOOSERS, {}, "pack_mass", 155);
  assert.deepEqual(craft.packs, [{ name: "four", cells: 4, mass: 155 }, { cells: 6 }]);
});

test("rows come and go; the last takes the table along", () => {
  const craft = {};
  assert.equal(addRow(craft, "parts", { name: "frame" }), 0);
  assert.equal(addRow(craft, "parts", { name: "motor" }), 1);
  putCell(craft, "parts", 1, "mass", 11.1);
  putCell(craft, "parts", 0, "mass", undefined);
  removeRow(craft, "parts", 0);
  assert.deepEqual(craft, { parts: [{ name: "motor", mass: 11.1 }] });
  removeRow(craft, "parts", 0);
  assert.deepEqual(craft, {});
});

test("a new row takes no name that another has", () => {
  assert.equal(freeName([], "pack", 0), "Pack 1");
  assert.equal(freeName([{ name: "Pack 2" }], "pack", 1), "Pack 3");
  assert.equal(freeName([{ name: "Pack 2" }, { name: "Pack 3" }], "pack", 1), "Pack 4");
});

test("what names a row follows its new name", () => {
  const craft = { packs: [{ name: "small" }, { name: "large" }], setups: [{ pack: "four" }, { pack: "large" }], flights: [{ pack: "four" }] };
  const references = [{ table: "setups", column: "pack" }, { table: "flights", column: "pack" }];
  assert.equal(renameRow(craft, references, "packs", "four", "small"), true);
  assert.deepEqual([craft.setups, craft.flights], [[{ pack: "small" }, { pack: "large" }], [{ pack: "small" }]]);
  assert.equal(renameRow(craft, references, "packs", "large", "heavy"), false, "another row has the name");
  assert.deepEqual(craft.setups[1], { pack: "large" });
});
