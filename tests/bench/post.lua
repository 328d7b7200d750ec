-- Posts one body after the other from the file that BENCH_BODIES names, and prints what came of it on one line:
-- requests, microseconds, answers that are no success, and the 50th and 99th percentile of the latency [us].
local bodies, sent = {}, 0
for line in io.lines(os.getenv("BENCH_BODIES")) do bodies[#bodies + 1] = line end
wrk.method = "POST"
wrk.headers["Authorization"] = os.getenv("BENCH_AUTHORIZATION")
wrk.headers["Content-Type"] = os.getenv("BENCH_CONTENT_TYPE")

function request()
  sent = sent + 1
  return wrk.format(nil, nil, nil, assert(bodies[sent], "there are not enough bodies"))
end

function done(summary, latency)
  local failed = summary.errors.status + summary.errors.read + summary.errors.write + summary.errors.timeout
  io.write(string.format("\nbench %d %d %d %d %d\n", summary.requests, summary.duration, failed,
    latency:percentile(50), latency:percentile(99)))
end
