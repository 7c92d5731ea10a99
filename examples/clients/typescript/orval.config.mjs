// The service's address is written into the generated functions: SERVICE=http://127.0.0.1:8000 npx orval
export default {
  gramwatt: {
    input: "../openapi.json",
    output: { target: "./orval/gramwatt.ts", client: "fetch", mode: "split", baseUrl: process.env.SERVICE },
  },
};
