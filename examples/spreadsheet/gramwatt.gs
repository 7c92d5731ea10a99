/**
 * Gramwatt in a cell of Google Sheets: Extensions > Apps Script, paste, save.
 *
 *   =GRAMWATT("endurance", "endurance", A1:C1, A2:C20)    names of inputs in a row, values in each row below
 *   =GRAMWATT("pack-energy", "usable_energy", {"cells"; "capacity"}, {6; "1.3 Ah"})
 *
 * All rows go in one request and each result is cached for six hours, so that a sheet sends few requests. A row that
 * has no result shows the reason, in a text that begins with #ERR; an empty row stays empty. Written from the vendor's
 * documentation; README.md lists what was run.
 */

/** The URL of Gramwatt; it must be reachable from the internet. */
const GRAMWATT_SERVICE = "http://127.0.0.1:8000";
const GRAMWATT_CACHE_SECONDS = 21600;

/**
 * One result of a calculator, for each row of inputs.
 *
 * @param {string} calculator The name of a calculator.
 * @param {string} result The name of one of its results.
 * @param {Array} names Names of inputs, in a row or a column.
 * @param {Array} values Their values: a row each for many requests, or next to the names for one.
 * @return The results, one below the other.
 * @customfunction
 */
function GRAMWATT(calculator, result, names, values) {
  const inputNames = [].concat(...[].concat(names)).map(String);
  let rows = [].concat(values).map((row) => [].concat(row));
  const beside = inputNames.length > 1 && rows.length === inputNames.length && rows.every((row) => row.length === 1);
  if (beside) rows = [rows.map(([value]) => value)];
  const requests = rows.map((row) => gramwattInputs_(inputNames, row));
  const results = gramwattResults_(calculator, result, requests);
  return results.length === 1 ? results[0] : results.map((each) => [each]);
}

/** One row as inputs of a request; null where it is empty. */
function gramwattInputs_(names, row) {
  const inputs = {};
  names.forEach((name, at) => {
    const value = row[at];
    if (name && value !== "" && value !== null && value !== undefined) inputs[name] = value;
  });
  return Object.keys(inputs).length ? inputs : null;
}

/** The results in order: from the cache, the others by one request. */
function gramwattResults_(calculator, result, requests) {
  const cache = CacheService.getScriptCache();
  const keys = requests.map((inputs) => inputs && gramwattKey_([GRAMWATT_SERVICE, calculator, result, inputs]));
  const known = cache.getAll(keys.filter(Boolean));
  const lacking = requests.map((inputs, at) => (inputs && !(keys[at] in known) ? at : -1)).filter((at) => at >= 0);
  const made = {};
  if (lacking.length) {
    const body = gramwattBatch_(calculator, result, lacking.map((at) => requests[at]));
    lacking.forEach((at, place) => {
      made[at] = body[place];
      if (typeof body[place] !== "string" || !body[place].startsWith("#ERR no-service")) {
        cache.put(keys[at], JSON.stringify(body[place]), GRAMWATT_CACHE_SECONDS);
      }
    });
  }
  return requests.map((inputs, at) => (inputs === null ? "" : at in made ? made[at] : JSON.parse(known[keys[at]])));
}

/** Request a table at once. Nothing is thrown: an error is the result of its row. */
function gramwattBatch_(calculator, result, requests) {
  let response;
  try {
    response = UrlFetchApp.fetch(`${GRAMWATT_SERVICE}/v1/${encodeURIComponent(calculator)}/batch`, {
      method: "post",
      contentType: "application/json",
      headers: { Accept: "application/json" },
      payload: JSON.stringify(requests),
      muteHttpExceptions: true,
    });
  } catch {
    return requests.map(() => `#ERR no-service: no answer from ${GRAMWATT_SERVICE}`);
  }
  let body;
  try {
    body = JSON.parse(response.getContentText());
  } catch {
    return requests.map(() => `#ERR no-service: no answer from ${GRAMWATT_SERVICE} but ${response.getResponseCode()}`);
  }
  if (!Array.isArray(body)) return requests.map(() => `#ERR ${gramwattKind_(body)}: ${body.detail}`);
  return body.map((row) => {
    if (row.error) return `#ERR ${gramwattKind_(row.error)}: ${row.error.detail}`;
    if (!(result in row)) return `#ERR unknown-result: ${calculator} has no result ${result}`;
    if (row[result] === null) return `#ERR no-result: ${(row.cautions || []).join(", ")}`;
    return Array.isArray(row[result]) ? row[result].join(", ") : row[result];
  });
}

function gramwattKind_(problem) {
  return String(problem.type || "invalid-input").split("/").pop();
}

/** A key for the cache, which takes 250 letters. */
function gramwattKey_(inputs) {
  const digest = Utilities.computeDigest(Utilities.DigestAlgorithm.SHA_256, JSON.stringify(inputs));
  return digest.map((byte) => (byte & 255).toString(16).padStart(2, "0")).join("");
}
