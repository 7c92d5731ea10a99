// Parses a Power Query file with its maker's own parser; says what is wrong with it, and ends with 1 if anything is.
"use strict";
const { readFileSync } = require("node:fs");
const { DefaultSettings, TaskUtils } = require("@microsoft/powerquery-parser");

TaskUtils.tryLexParse(DefaultSettings, readFileSync(process.argv[2], "utf8")).then((task) => {
  if (task.resultKind === "Ok") return;
  process.stdout.write(`${task.stage}: ${task.error.message}\n`);
  process.exitCode = 1;
});
