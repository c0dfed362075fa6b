// Asks DuckDB, an engine that knows nothing of this program, over a Parquet file.
// usage: node ask.mjs FILE QUERY; prints the rows as JSON. The package
// @duckdb/node-api is looked for from the current folder.
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";
const require = createRequire(pathToFileURL(process.cwd() + "/x.js"));
const { DuckDBInstance } = await import(pathToFileURL(require.resolve("@duckdb/node-api")));
const connection = await (await DuckDBInstance.create(":memory:")).connect();
const [file, ...queries] = process.argv.slice(2);
for (const q of queries) {
  const reader = await connection.runAndReadAll(q.replaceAll("FILE", `'${file}'`));
  console.log(JSON.stringify(reader.getRowObjectsJson()));
}
