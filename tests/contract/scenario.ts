// One day of a field app, by a client whose every type comes from the OpenAPI document: a wrong member does not compile.
import createClient from "openapi-fetch";
import type { paths } from "./api";

declare const process: { env: Record<string, string> };
const api = createClient<paths>({
  baseUrl: process.env.BASE_URL,
  headers: { Authorization: `Bearer ${process.env.KEY}` },
});

function told<Data>(answer: { data?: Data; error?: unknown; response: Response }): Data {
  if (answer.data === undefined) throw new Error(`${answer.response.status}: ${JSON.stringify(answer.error)}`);
  return answer.data;
}

async function ended(farm: string, job: string): Promise<string> {
  for (let asked = 0; asked < 300; asked++) {
    const { state } = told(await api.GET("/api/v1/farms/{farm}/jobs/{job}", { params: { path: { farm, job } } }));
    if (state === "succeeded" || state === "failed") return state;
    await new Promise((wake) => setTimeout(wake, 100));
  }
  throw new Error("the job did not end");
}

async function day(): Promise<Record<string, unknown>> {
  const me = told(await api.GET("/api/v1/me"));
  const farms = told(await api.GET("/api/v1/farms", { params: { query: { limit: 10 } } })).results;
  const farm = farms[0].id;
  const path = { farm };
  const block = told(
    await api.POST("/api/v1/farms/{farm}/blocks", {
      params: { path },
      body: { name: "From TypeScript", cultivar: "concord", row_spacing: { value: 2.7, unit: "m" } },
    }),
  );
  const within = { params: { path: { farm, block: block.id } } };
  const row = told(await api.POST("/api/v1/farms/{farm}/blocks/{block}/rows", { ...within, body: { number: 1 } }));
  const place = { row_number: row.number, place: 1 };
  const vine = told(await api.POST("/api/v1/farms/{farm}/blocks/{block}/vines", { ...within, body: place }));
  const weighed = told(
    await api.POST("/api/v1/farms/{farm}/dormant-records", {
      params: { path },
      body: {
        vine: vine.id,
        observed_at: "2026-01-18T10:02:00-05:00",
        pruning_weight: { value: 2.8, unit: "lb" },
        scale_resolution: { value: 0.25, unit: "lb" },
      },
    }),
  );
  const counted = told(
    await api.PATCH("/api/v1/farms/{farm}/dormant-records/{record}", {
      params: { path: { farm, record: weighed.id }, header: { "If-Match": `"${weighed.version}"` } },
      body: { nodes_retained: 38 },
    }),
  );
  const stale = await api.PATCH("/api/v1/farms/{farm}/dormant-records/{record}", {
    params: { path: { farm, record: weighed.id }, header: { "If-Match": `"${weighed.version}"` } },
    body: { nodes_retained: 40 },
  });
  const shoots = { kind: "shoot_count", vine: vine.id, observed_at: "2026-05-20T09:15:00-04:00", count_shoots: 44 };
  const again = { kind: "dormant_record", vine: vine.id, observed_at: "2026-01-19T10:02:00-05:00" };
  const bulk = told(
    await api.POST("/api/v1/farms/{farm}/records", {
      params: { path },
      body: [shoots, again].map((line) => JSON.stringify(line)).join("\n"),
      bodySerializer: (text: unknown) => text as string,
      headers: { "Content-Type": "application/x-ndjson" },
    }),
  );
  const changes = told(
    await api.GET("/api/v1/farms/{farm}/changes", { params: { path, query: { limit: 500, kinds: "shoot_count" } } }),
  );
  const file = "row,vine,pruning_weight\n1,1,1.25\n1,2,heavy\n";
  const taken = told(
    await api.POST("/api/v1/farms/{farm}/imports", {
      params: { path, query: { block: "File from TypeScript", season: 2026 } },
      body: file,
      bodySerializer: (text: unknown) => text as string,
      headers: { "Content-Type": "text/csv" },
    }),
  );
  return {
    farms: farms.length === me.farms.length,
    row: row.number,
    spacing: block.row_spacing?.m,
    target: weighed.target.nodes,
    outcome: counted.verdict?.outcome,
    slip: counted.verdict?.slips[0].code,
    stale: stale.error?.code,
    bulk: bulk.results.map((result) => result.error?.code ?? result.status),
    told: changes.results.some((change) => change.id === bulk.results[0].id && change.operation === "stored"),
    job: await ended(farm, taken.job.id),
    lines: told(
      await api.GET("/api/v1/farms/{farm}/imports/{import_id}", {
        params: { path: { farm, import_id: taken.import.id } },
      }),
    ).counts,
  };
}

day().then((told) => console.log(JSON.stringify(told)));
