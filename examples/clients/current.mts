// Amps of an invented pack at two powers, with the types that openapi-typescript generates (see README.md).
//
//     node current.mjs http://127.0.0.1:8000
import type { components, paths } from "./gramwatt.js";

type Inputs = paths["/v1/pack-current"]["get"]["parameters"]["query"];
type Pack = components["schemas"]["PackCurrentAnswer"];
type Problem = components["schemas"]["Problem"];

const service = process.argv[2] ?? "http://127.0.0.1:8000";

async function request(inputs: Inputs): Promise<Pack | Problem> {
  const query = new URLSearchParams(Object.entries(inputs).map(([name, value]) => [name, String(value)]));
  const response = await fetch(`${service}/v1/pack-current?${query}`);
  return (await response.json()) as Pack | Problem;
}

for (const power of ["120 W", "0.7 kW", "9 bananas"]) {
  const body = await request({ cells: 6, capacity: "1.3 Ah", power, cell_resistance: 8 });
  if ("results" in body) {
    console.log(`${power}: ${body.results.pack_current} A`);
    for (const caution of body.cautions) console.log(`  ! ${caution.text}`);
  } else {
    console.log(`${power}: ${body.detail}`);
  }
}
