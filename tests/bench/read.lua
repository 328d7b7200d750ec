-- Asks for BENCH_PATH again and again, and prints what came of it on one line: requests, answers that are no success,
-- and the 95th percentile of the latency [us].
wrk.method = "GET"
wrk.path = os.getenv("BENCH_PATH")
wrk.headers["Authorization"] = os.getenv("BENCH_AUTHORIZATION")

function done(summary, latency)
  local failed = summary.errors.status + summary.errors.read + summary.errors.write + summary.errors.timeout
  io.write(string.format("\nbench %d %d %d\n", summary.requests, failed, latency:percentile(95)))
end
