// How often each probe was not believed, and why, over a month.
from(bucket: "bins")
  |> range(start: -30d)
  |> filter(fn: (r) => r._measurement == "bin_levels" and r._field == "doubt")
  |> duplicate(column: "_value", as: "why")
  |> group(columns: ["farm", "probe", "why"])
  |> count()
