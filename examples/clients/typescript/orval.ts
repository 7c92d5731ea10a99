// Energy of packs and of a flight, by the functions that orval generates (see README.md).
//
//     node orval.js http://127.0.0.1:8000 ../packs.csv ../flight.csv
import { readFileSync } from "node:fs";
import { calculateFlightLogFromRecording, calculatePackEnergy, getBatchPackEnergyUrl } from "./orval/gramwatt";
import type { PackEnergyTableRow } from "./orval/gramwatt.schemas";

const [service, packs, flight] = process.argv.slice(2);
const headers = { "Content-Type": "text/csv", Accept: "application/json" };

async function main(): Promise<void> {
  for (const capacity of ["1.3 Ah", "9 bananas"]) {
    const answer = await calculatePackEnergy({ cells: 6, capacity });
    if (answer.status === 200 && typeof answer.data !== "string")
      console.log(`${capacity}: ${answer.data.results.usable_energy.toFixed(3)} Wh`);
    else if (answer.status === 422) console.log(`${capacity}: ${answer.data.detail}`);
  }
  // The generated function of a batch sends JSON. A table as CSV is sent to the same URL.
  const sent = await fetch(getBatchPackEnergyUrl(), { method: "POST", headers, body: readFileSync(packs) });
  for (const [place, row] of ((await sent.json()) as PackEnergyTableRow[]).entries())
    if ("usable_energy" in row) console.log(`row ${place + 1}: ${row.usable_energy.toFixed(3)} Wh`);
  const log = await calculateFlightLogFromRecording(readFileSync(flight, "utf8"), {}, { headers });
  if (log.status === 200 && typeof log.data !== "string") console.log(`flight: ${log.data.results.energy_used?.toFixed(3)} Wh`);
}

void main();
