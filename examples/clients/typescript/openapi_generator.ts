// Energy of packs and of a flight, by the TypeScript client that openapi-generator generates (see README.md).
//
//     node openapi_generator.js http://127.0.0.1:8000 ../packs.csv ../flight.csv
import { readFileSync } from "node:fs";
import { Configuration, FlightLogApi, PackEnergyApi, ProblemFromJSON, ResponseError } from "./openapi-generator";

const [service, packs, flight] = process.argv.slice(2);
const configuration = new Configuration({ basePath: service });

async function main(): Promise<void> {
  const api = new PackEnergyApi(configuration);
  for (const capacity of ["1.3 Ah", "9 bananas"]) {
    try {
      const answer = await api.calculatePackEnergy({ cells: 6, capacity });
      console.log(`${capacity}: ${answer.results.usableEnergy.toFixed(3)} Wh`);
    } catch (error) {
      if (!(error instanceof ResponseError)) throw error;
      console.log(`${capacity}: ${ProblemFromJSON(await error.response.json()).detail}`);
    }
  }
  // The generated function of a batch sends JSON; the second argument replaces what it sends.
  const headers = { "Content-Type": "text/csv", Accept: "application/json" };
  const csv = async () => ({ headers, body: new Blob([readFileSync(packs, "utf8")]) });
  for (const [place, row] of (await api.batchPackEnergy({ packEnergyInputRow: [] }, csv)).entries())
    console.log(`row ${place + 1}: ${row.usableEnergy.toFixed(3)} Wh`);
  const body = readFileSync(flight, "utf8");
  const log = await new FlightLogApi(configuration).calculateFlightLogFromRecording({ body });
  console.log(`flight: ${log.results.energyUsed?.toFixed(3)} Wh`);
}

void main();
