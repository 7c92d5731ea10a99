// Energy of packs and of a flight, by the client that @hey-api/openapi-ts generates (see README.md).
//
//     node hey_api.js http://127.0.0.1:8000 ../packs.csv ../flight.csv
import { readFileSync } from "node:fs";
import { calculateFlightLogFromRecording, calculatePackEnergy, type PackEnergyTableRow } from "./hey-api";
import { client } from "./hey-api/client.gen";

const [service, packs, flight] = process.argv.slice(2);
client.setConfig({ baseUrl: service });

async function main(): Promise<void> {
  for (const capacity of ["1.3 Ah", "9 bananas"]) {
    const { data, error } = await calculatePackEnergy({ query: { cells: 6, capacity } });
    if (data) console.log(`${capacity}: ${data.results.usable_energy.toFixed(3)} Wh`);
    else if (error) console.log(`${capacity}: ${error.detail}`);
  }
  // The generated function of a batch sends JSON. A table as CSV goes through the client that it uses.
  const { data: rows } = await client.post<{ 200: PackEnergyTableRow[] }>({
    url: "/v1/pack-energy/batch",
    headers: { "Content-Type": "text/csv", Accept: "application/json" },
    body: readFileSync(packs, "utf8"),
    bodySerializer: null,
  });
  for (const [place, row] of (rows ?? []).entries())
    if ("usable_energy" in row) console.log(`row ${place + 1}: ${row.usable_energy.toFixed(3)} Wh`);
  const { data: log } = await calculateFlightLogFromRecording({ body: readFileSync(flight, "utf8") });
  console.log(`flight: ${log?.results.energy_used?.toFixed(3)} Wh`);
}

void main();
