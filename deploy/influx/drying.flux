// Points of moisture a day for every zone, over a week: below nothing it dries.
from(bucket: "bins")
  |> range(start: -7d)
  |> filter(fn: (r) => r._measurement == "bin_levels" and r._field == "moisture_pct" and exists r.bin)
  |> group(columns: ["farm", "bin", "zone"])
  |> aggregateWindow(every: 6h, fn: median, createEmpty: false)
  |> derivative(unit: 1d)
  |> mean()
