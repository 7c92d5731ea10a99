// Energy of packs and of a flight, with the types that openapi-typescript generates (see README.md).
//
//     node openapi_typescript.js http://127.0.0.1:8000 ../packs.csv ../flight.csv
import { readFileSync } from "node:fs";
import type { components, paths } from "./gramwatt.js";

type Inputs = paths["/v1/pack-energy"]["get"]["parameters"]["query"];
type Pack = components["schemas"]["PackEnergyResponse"];
type Row = components["schemas"]["PackEnergyTableRow"];
type Flight = components["schemas"]["FlightLogResponse"];
type Problem = components["schemas"]["Problem"];

const [service, packs, flight] = process.argv.slice(2);

async function calculate(inputs: NonNullable<Inputs>): Promise<Pack | Problem> {
  const query = new URLSearchParams(Object.entries(inputs).map(([name, value]) => [name, String(value)]));
  const response = await fetch(`${service}/v1/pack-energy?${query}`);
  return (await response.json()) as Pack | Problem;
}

async function send(path: keyof paths, csv: string): Promise<unknown> {
  const headers = { "Content-Type": "text/csv", Accept: "application/json" };
  const response = await fetch(`${service}${path}`, { method: "POST", headers, body: readFileSync(csv) });
  return response.json();
}

async function main(): Promise<void> {
  for (const capacity of ["1.3 Ah", "9 bananas"]) {
    const body = await calculate({ cells: 6, capacity });
    console.log(`${capacity}: ${"results" in body ? `${body.results.usable_energy.toFixed(3)} Wh` : body.detail}`);
  }
  const rows = (await send("/v1/pack-energy/batch", packs)) as Row[];
  for (const [place, row] of rows.entries())
    if ("usable_energy" in row) console.log(`row ${place + 1}: ${row.usable_energy.toFixed(3)} Wh`);
  const log = (await send("/v1/flight-log/log", flight)) as Flight;
  console.log(`flight: ${log.results.energy_used?.toFixed(3)} Wh`);
}

void main();
