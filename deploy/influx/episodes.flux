// How urgent each condition was over a month, one series from raised to eased: 3 now,
// 2 today, 1 soon, 0 eased; change and urgency of each step stand beside it.
from(bucket: "bins")
  |> range(start: -30d)
  |> filter(fn: (r) => r._measurement == "bin_marks" and r._field == "standing")
  |> group(columns: ["farm", "bin", "zone", "probe", "condition", "quantity"])
  |> sort(columns: ["_time"])
