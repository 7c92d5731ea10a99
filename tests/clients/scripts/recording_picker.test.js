// Tests of the columns of a recording, in Node.
import assert from "node:assert/strict";
import { test } from "node:test";
import { bareName, matchColumn, previewCsv, splitLine, toCsv, toLists, unitOf } from "./recording-picker.js";

test("quotes hold separators and quotes", () => {
  assert.deepEqual(splitLine('a,"b,c","d ""e"""', ","), ["a", "b,c", 'd "e"']);
  assert.deepEqual(splitLine("a;b", ";"), ["a", "b"]);
});

test("a column is found by its name, without its unit, or in another case", () => {
  const names = ["Time [ms]", "Vbat", "current [A]"];
  assert.equal(bareName("current [A]"), "current");
  assert.equal(matchColumn(names, "time"), "Time [ms]");
  assert.equal(matchColumn(names, "current"), "current [A]");
  assert.equal(matchColumn(names, "voltage"), undefined);
  assert.equal(matchColumn(["a", "A [V]"], "A"), "A [V]");
  assert.equal(matchColumn(["b", "B"], " b"), "b");
  assert.equal(matchColumn(["x [V]", "x [mV]"], "x"), undefined, "two columns of one name");
  assert.equal(matchColumn(["Voltage (cell)", "Voltage (pack)"], "Voltage (pack) [mV]"), "Voltage (pack)");
  assert.deepEqual(["I (mA)", "I [ A ]", "I", "f(x) y"].map(unitOf), ["mA", "A", "", ""]);
  assert.deepEqual(toLists("T (ms),I\n0,1\n", "time", { time: "T (ms)" }), { "time [ms]": [0], I: [1] });
});

test("the header is the line with the time, below a preamble", () => {
  const { names, rows, separator } = previewCsv("made by a recorder, version 2\n\ntime;voltage\n0;16,1\n1;16,0\n", "time");
  assert.deepEqual([names, rows, separator], [["time", "voltage"], [["0", "16,1"], ["1", "16,0"]], ";"]);
});

test("without the time it is the first of the lines with most cells", () => {
  const { names, rows } = previewCsv("\uFEFFflight of today\r\nSeconds\tVolt\r\n0\t16.1\r\n", "time");
  assert.deepEqual([names, rows], [["Seconds", "Volt"], [["0", "16.1"]]]);
});

test("a preview has ten rows", () => {
  const text = ["time,v", ...Array.from({ length: 30 }, (_, at) => `${at},1`)].join("\n");
  assert.equal(previewCsv(text, "time").rows.length, 10);
  assert.equal(previewCsv("", "time"), null);
  assert.equal(previewCsv('{"time": [0]}', "time"), null);
});

test("a decimal comma is read as the service reads it", () => {
  const lists = { time: [0, 1.5], voltage: [16.1, -2], note: ["1;2", "x"] };
  assert.deepEqual(toLists('time;voltage;note\n0;16,1;"1;2"\n1,5;-2;x\n', "time", {}, ","), lists);
  assert.deepEqual(toLists("time;voltage\n0;16,1\n", "time", {}), { time: [0], voltage: ["16,1"] }, "not without the sign");
});

test("a recording becomes lists under the names of its channels, and back", () => {
  const lists = toLists("T,Vbat,note\n0,16.1,\n12:00:01.5,,x\n", "time", { time: "T", voltage: "Vbat [mV]" });
  assert.deepEqual(lists, { time: [0, "12:00:01.5"], "voltage [mV]": [16.1, null], note: [null, "x"] });
  assert.deepEqual(toLists(toCsv(lists), "time", {}), lists);
  assert.deepEqual(toLists('{"time": [0, 1]}', "time", {}), { time: [0, 1] });
  assert.deepEqual(toLists('{"time": 0}\n{"time": 1, "voltage": 16}\n', "time", {}), { time: [0, 1], voltage: [null, 16] });
  assert.deepEqual(toLists("\u0000\u0001{", "time", {}), {}, "binary");
});
