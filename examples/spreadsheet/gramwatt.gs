/**
 * Gramwatt in a cell of Google Sheets: Extensions > Apps Script, paste, save.
 *
 *   =GRAMWATT("endurance", "endurance", A1:C1, A2:C20)    names of inputs in a row, a question in each row below
 *   =GRAMWATT("pack-energy", "usable_energy", {"cells"; "capacity"}, {6; "1.3 Ah"})
 *
 * All rows go in one request and each answer is kept for six hours, so that a sheet asks as seldom as can be. A row that
 * has no answer says why, in a text that begins with #ERR; an empty row stays empty. Written from the vendor's
 * documentation; README.md says what of it was run.
 */

/** The one place that says where Gramwatt answers; it must be reachable from the internet. */
const GRAMWATT_SERVICE = "http://127.0.0.1:8000";
const GRAMWATT_SECONDS_KEPT = 21600;

/**
 * One result of a calculator, for each row of questions.
 *
 * @param {string} calculator The name of a calculator.
 * @param {string} result The name of one of its results.
 * @param {Array} names Names of inputs, in a row or a column.
 * @param {Array} values Their values: a row each for many questions, or beside the names for one.
 * @return The results, one below the other.
 * @customfunction
 */
function GRAMWATT(calculator, result, names, values) {
  const asked = [].concat(...[].concat(names)).map(String);
  let rows = [].concat(values).map((row) => [].concat(row));
  const beside = asked.length > 1 && rows.length === asked.length && rows.every((row) => row.length === 1);
  if (beside) rows = [rows.map(([value]) => value)];
  const questions = rows.map((row) => gramwattQuestion_(asked, row));
  const answers = gramwattAnswers_(calculator, result, questions);
  return answers.length === 1 ? answers[0] : answers.map((answer) => [answer]);
}

/** One row as a question; null where it is empty. */
function gramwattQuestion_(names, row) {
  const question = {};
  names.forEach((name, at) => {
    const value = row[at];
    if (name && value !== "" && value !== null && value !== undefined) question[name] = value;
  });
  return Object.keys(question).length ? question : null;
}

/** The answers in order: kept ones from the cache, the others by one request. */
function gramwattAnswers_(calculator, result, questions) {
  const cache = CacheService.getScriptCache();
  const keys = questions.map((question) => question && gramwattKey_([GRAMWATT_SERVICE, calculator, result, question]));
  const known = cache.getAll(keys.filter(Boolean));
  const lacking = questions.map((question, at) => (question && !(keys[at] in known) ? at : -1)).filter((at) => at >= 0);
  const made = {};
  if (lacking.length) {
    const told = gramwattBatch_(calculator, result, lacking.map((at) => questions[at]));
    lacking.forEach((at, place) => {
      made[at] = told[place];
      if (typeof told[place] !== "string" || !told[place].startsWith("#ERR no-service")) {
        cache.put(keys[at], JSON.stringify(told[place]), GRAMWATT_SECONDS_KEPT);
      }
    });
  }
  return questions.map((question, at) => (question === null ? "" : at in made ? made[at] : JSON.parse(known[keys[at]])));
}

/** Ask for a table of questions at once. Nothing is thrown: what is wrong is the answer of its row. */
function gramwattBatch_(calculator, result, questions) {
  let response;
  try {
    response = UrlFetchApp.fetch(`${GRAMWATT_SERVICE}/v1/${encodeURIComponent(calculator)}/batch`, {
      method: "post",
      contentType: "application/json",
      headers: { Accept: "application/json" },
      payload: JSON.stringify(questions),
      muteHttpExceptions: true,
    });
  } catch {
    return questions.map(() => `#ERR no-service: no answer from ${GRAMWATT_SERVICE}`);
  }
  let told;
  try {
    told = JSON.parse(response.getContentText());
  } catch {
    return questions.map(() => `#ERR no-service: no answer from ${GRAMWATT_SERVICE} but ${response.getResponseCode()}`);
  }
  if (!Array.isArray(told)) return questions.map(() => `#ERR ${gramwattKind_(told)}: ${told.detail}`);
  return told.map((row) => {
    if (row.error) return `#ERR ${gramwattKind_(row.error)}: ${row.error.detail}`;
    if (!(result in row)) return `#ERR unknown-result: ${calculator} has no result ${result}`;
    if (row[result] === null) return `#ERR no-answer: ${(row.cautions || []).join(", ")}`;
    return Array.isArray(row[result]) ? row[result].join(", ") : row[result];
  });
}

function gramwattKind_(problem) {
  return String(problem.type || "invalid-input").split("/").pop();
}

/** A key for the cache, which takes 250 letters. */
function gramwattKey_(question) {
  const digest = Utilities.computeDigest(Utilities.DigestAlgorithm.SHA_256, JSON.stringify(question));
  return digest.map((byte) => (byte & 255).toString(16).padStart(2, "0")).join("");
}
