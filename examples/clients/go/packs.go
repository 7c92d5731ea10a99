// Energy of packs and of a flight, by the Go client that openapi-generator generates (see README.md).
//
//	go run . http://127.0.0.1:8000 ../packs.csv ../flight.csv
package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log"
	"net/http"
	"os"

	"example.org/packs/gramwatt"
)

func main() {
	service, packs, flight := os.Args[1], os.Args[2], os.Args[3]
	configuration := gramwatt.NewConfiguration()
	configuration.Servers = gramwatt.ServerConfigurations{{URL: service}}
	configuration.HTTPClient = http.DefaultClient
	client := gramwatt.NewAPIClient(configuration)
	ctx := context.Background()

	// The generator cannot write an amount with a unit into a query: send JSON.
	cells := int32(6)
	for _, capacity := range []string{"1.3 Ah", "9 bananas"} {
		inputs := gramwatt.NewPackEnergyRequest()
		inputs.SetCells(gramwatt.Cells{Int32: &cells})
		inputs.SetCapacity(gramwatt.Capacity{String: &capacity})
		answer, _, err := client.PackEnergyAPI.CalculatePackEnergyFromJson(ctx).PackEnergyRequest(*inputs).Execute()
		var failure *gramwatt.GenericOpenAPIError
		if errors.As(err, &failure) {
			problem, ok := failure.Model().(gramwatt.Problem)
			if !ok {
				log.Fatal(err)
			}
			fmt.Printf("%s: %s\n", capacity, problem.Detail)
			continue
		}
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%s: %.3f Wh\n", capacity, answer.Results.UsableEnergy)
	}

	// The generated function of a batch sends JSON. A table as CSV goes through the client that it uses.
	for place, row := range sendTable(configuration.HTTPClient, service+"/v1/pack-energy/batch", packs) {
		fmt.Printf("row %d: %.3f Wh\n", place+1, row.UsableEnergy)
	}

	recording, err := os.ReadFile(flight)
	if err != nil {
		log.Fatal(err)
	}
	used, _, err := client.FlightLogAPI.CalculateFlightLogFromRecording(ctx).Body(string(recording)).Execute()
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("flight: %.3f Wh\n", used.Results.GetEnergyUsed())
}

// sendTable posts a table as CSV and returns the rows of the response.
func sendTable(client *http.Client, url string, path string) []gramwatt.PackEnergyRow {
	table, err := os.Open(path)
	if err != nil {
		log.Fatal(err)
	}
	defer table.Close()
	request, err := http.NewRequest(http.MethodPost, url, table)
	if err != nil {
		log.Fatal(err)
	}
	request.Header.Set("Content-Type", "text/csv")
	request.Header.Set("Accept", "application/json")
	response, err := client.Do(request)
	if err != nil {
		log.Fatal(err)
	}
	defer response.Body.Close()
	var rows []gramwatt.PackEnergyRow
	if err := json.NewDecoder(response.Body).Decode(&rows); err != nil {
		log.Fatal(err)
	}
	return rows
}
