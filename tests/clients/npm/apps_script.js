// Runs examples/spreadsheet/gramwatt.gs as Google Sheets would, on stubs of the three services that it uses.
// Reads [script, service, calls] as JSON on standard input, each call the arguments of GRAMWATT; writes what each gave and
// how many requests had been made by then.
"use strict";
const { spawnSync } = require("node:child_process");
const { createHash } = require("node:crypto");
const { readFileSync } = require("node:fs");
const vm = require("node:vm");

const [script, service, calls] = JSON.parse(readFileSync(0, "utf8"));
const kept = new Map();
let requests = 0;

const context = vm.createContext({
  UrlFetchApp: {
    fetch(url, options) {
      if (!options.muteHttpExceptions) throw new Error("a status would be thrown");
      requests += 1;
      const headers = ["-H", `Content-Type: ${options.contentType}`];
      for (const [name, value] of Object.entries(options.headers)) headers.push("-H", `${name}: ${value}`);
      const words = ["-s", "-X", options.method.toUpperCase(), ...headers, "--data-binary", "@-", "-w", "\n%{http_code}", url];
      const ran = spawnSync("curl", words, { input: options.payload, encoding: "utf8" });
      if (ran.status !== 0) throw new Error("DNS error or refused");
      const at = ran.stdout.lastIndexOf("\n");
      return { getContentText: () => ran.stdout.slice(0, at), getResponseCode: () => Number(ran.stdout.slice(at + 1)) };
    },
  },
  CacheService: {
    getScriptCache: () => ({
      getAll: (keys) => Object.fromEntries(keys.filter((key) => kept.has(key)).map((key) => [key, kept.get(key)])),
      put: (key, value, seconds) => {
        if (key.length > 250 || seconds > 21600 || typeof value !== "string") throw new Error("beyond what the cache takes");
        kept.set(key, value);
      },
    }),
  },
  Utilities: {
    DigestAlgorithm: { SHA_256: "sha256" },
    computeDigest: (name, text) => [...createHash(name).update(text, "utf8").digest()].map((byte) => (byte > 127 ? byte - 256 : byte)),
  },
});
vm.runInContext(readFileSync(script, "utf8").replace("http://127.0.0.1:8000", service), context);
const told = calls.map((given) => {
  context.given = given;
  return [vm.runInContext("GRAMWATT(...given)", context), requests];
});
process.stdout.write(JSON.stringify(told));
