// The newest believed reading of every probe.
from(bucket: "bins")
  |> range(start: -7d)
  |> filter(fn: (r) => r._measurement == "bin_levels" and (r._field == "temperature_c" or r._field == "moisture_pct" or r._field == "battery_v"))
  |> group(columns: ["farm", "bin", "zone", "probe", "_field"])
  |> last()
