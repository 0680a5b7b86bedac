// Temperature and moisture of every zone over a month, an hour a point.
from(bucket: "bins")
  |> range(start: -30d)
  |> filter(fn: (r) => r._measurement == "bin_levels" and (r._field == "temperature_c" or r._field == "moisture_pct") and exists r.bin)
  |> group(columns: ["farm", "bin", "zone", "_field"])
  |> aggregateWindow(every: 1h, fn: median, createEmpty: false)
