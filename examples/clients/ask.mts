// Amps of an invented pack at two powers, with the types that openapi-typescript generates (see README.md).
//
//     node ask.mjs http://127.0.0.1:8000
import type { components, paths } from "./gramwatt.js";

type Question = paths["/v1/pack-current"]["get"]["parameters"]["query"];
type Answer = components["schemas"]["PackCurrentAnswer"];
type Problem = components["schemas"]["Problem"];

const service = process.argv[2] ?? "http://127.0.0.1:8000";

async function ask(question: Question): Promise<Answer | Problem> {
  const query = new URLSearchParams(Object.entries(question).map(([name, value]) => [name, String(value)]));
  const response = await fetch(`${service}/v1/pack-current?${query}`);
  return (await response.json()) as Answer | Problem;
}

for (const power of ["120 W", "0.7 kW", "9 bananas"]) {
  const told = await ask({ cells: 6, capacity: "1.3 Ah", power, cell_resistance: 8 });
  if ("results" in told) {
    console.log(`${power}: ${told.results.current} A`);
    for (const caution of told.cautions) console.log(`  ! ${caution.text}`);
  } else {
    console.log(`${power}: ${told.detail}`);
  }
}
