// Hours over 30 °C by zone, over a month.
from(bucket: "bins")
  |> range(start: -30d)
  |> filter(fn: (r) => r._measurement == "bin_levels" and r._field == "temperature_c" and exists r.bin)
  |> group(columns: ["farm", "bin", "zone"])
  |> aggregateWindow(every: 1h, fn: mean, createEmpty: false)
  |> filter(fn: (r) => r._value > 30.0)
  |> count()
