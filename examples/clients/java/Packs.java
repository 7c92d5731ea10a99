// Energy of packs and of a flight, by the Java client that openapi-generator generates (see README.md).
//
//     java -cp build:$LIBRARIES Packs http://127.0.0.1:8000 ../packs.csv ../flight.csv
import com.fasterxml.jackson.core.type.TypeReference;
import gramwatt.ApiClient;
import gramwatt.ApiException;
import gramwatt.api.FlightLogApi;
import gramwatt.api.FlightLogApi.APICalculateFlightLogFromRecordingRequest;
import gramwatt.api.PackEnergyApi;
import gramwatt.api.PackEnergyApi.APICalculatePackEnergyFromJsonRequest;
import gramwatt.model.Capacity;
import gramwatt.model.Cells;
import gramwatt.model.PackEnergyRequest;
import gramwatt.model.PackEnergyRow;
import gramwatt.model.Problem;
import java.net.URI;
import java.net.http.HttpRequest;
import java.net.http.HttpRequest.BodyPublishers;
import java.net.http.HttpResponse.BodyHandlers;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.Locale;

public final class Packs {
  public static void main(String[] arguments) throws Exception {
    ApiClient client = new ApiClient();
    client.updateBaseUri(arguments[0]);

    // The generator cannot write an amount with a unit into a query: send JSON.
    PackEnergyApi api = new PackEnergyApi(client);
    for (String capacity : List.of("1.3 Ah", "9 bananas")) {
      PackEnergyRequest inputs = new PackEnergyRequest().cells(new Cells(6)).capacity(new Capacity(capacity));
      try {
        var request = APICalculatePackEnergyFromJsonRequest.newBuilder().packEnergyRequest(inputs).build();
        print(capacity, api.calculatePackEnergyFromJson(request).getResults().getUsableEnergy());
      } catch (ApiException error) {
        Problem problem = client.getObjectMapper().readValue(error.getResponseBody(), Problem.class);
        System.out.println(capacity + ": " + problem.getDetail());
      }
    }

    // The generated function of a batch sends JSON. A table as CSV goes through the HTTP client that it uses.
    HttpRequest batch = HttpRequest.newBuilder(URI.create(client.getBaseUri() + "/v1/pack-energy/batch"))
        .header("Content-Type", "text/csv")
        .header("Accept", "application/json")
        .POST(BodyPublishers.ofFile(Path.of(arguments[1])))
        .build();
    String rows = client.getHttpClient().send(batch, BodyHandlers.ofString()).body();
    int place = 0;
    for (PackEnergyRow row : client.getObjectMapper().readValue(rows, new TypeReference<List<PackEnergyRow>>() {})) {
      print("row " + ++place, row.getUsableEnergy());
    }

    String log = Files.readString(Path.of(arguments[2]));
    var recording = APICalculateFlightLogFromRecordingRequest.newBuilder().body(log).build();
    print("flight", new FlightLogApi(client).calculateFlightLogFromRecording(recording).getResults().getEnergyUsed());
  }

  private static void print(String what, Double energy) {
    System.out.println(String.format(Locale.ROOT, "%s: %.3f Wh", what, energy));
  }
}
