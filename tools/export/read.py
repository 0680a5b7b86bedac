# Opens the exported tables with pandas: what was measured is a number, what is doubted
# is none, times are times, and nothing is lost of commas and quotes.
# python3 read.py FOLDER; exit 1 if anything is wrong.
import sys

import pandas as pd

read = lambda what: pd.read_csv(f"{sys.argv[1]}/{what}.csv", parse_dates=["time"])
readings, conditions, logbook = read("readings"), read("conditions"), read("logbook")
bed, doubted = readings[readings.probe == "bed-t"], readings[readings.doubt.notna()]
wrong = [
    said
    for said, right in {
        "a column of values holds no numbers": readings.value.dtype == float,
        "a column of times holds no times": str(readings.time.dtype) == "datetime64[ns, UTC]",
        "values of the bed are lost": len(bed) == 288 and bed.value.count() == 287 and bed.value.max() < 37,
        "what is doubted is a number": len(doubted) == 1 and doubted.value.isna().all() and list(doubted.raw) == [185],
        "the bed was not too hot once": len(conditions[(conditions.condition == "too-hot") & (conditions.change == "raised")]) == 1,
        "the logbook is another": (logbook.kg.sum(), logbook.litres.sum()) == (4, 2) and (logbook["of"] == 'grain, "wet"').any(),
    }.items()
    if not right
]
print(f"pandas {pd.__version__}: {len(readings)} readings, {len(conditions)} changes, {len(logbook)} jots: {len(wrong)} wrong", *wrong, sep="\n  ")
sys.exit(1 if wrong else 0)
