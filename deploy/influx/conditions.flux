// What was raised, worsened and eased over a month, with its text.
from(bucket: "bins")
  |> range(start: -30d)
  |> filter(fn: (r) => r._measurement == "bin_marks" and r._field == "text")
  |> group(columns: ["farm"])
  |> sort(columns: ["_time"])
