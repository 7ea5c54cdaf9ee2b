"""What pandas takes for the same comparison of the same log: from the pours, and from what is kept with each batch."""
import sqlite3
import sys
import time

import pandas as pd

SQL = {
    "pandas, by month from all pours": "SELECT p.batch, p.net_ug - p.target_ug AS off, b.created_us FROM pour p "
    "JOIN batch b ON b.id = p.batch WHERE p.verdict <> 'void'",
    "pandas, by month from what is kept with each batch": "SELECT created_us, n, off_mg, off_squares_mg2, target_ug FROM batch WHERE n > 0",
}


def from_pours(frame):
    frame["month"] = pd.to_datetime(frame["created_us"], unit="us").dt.strftime("%Y-%m")
    frame["square"] = (frame["off"] - frame.groupby("batch")["off"].transform("mean")) ** 2
    groups = frame.groupby("month")
    return (groups["square"].sum() / (groups.size() - groups["batch"].nunique())) ** 0.5


def from_kept(frame):
    frame["month"] = pd.to_datetime(frame["created_us"], unit="us").dt.strftime("%Y-%m")
    frame["within"] = frame["off_squares_mg2"] - frame["off_mg"] ** 2 / frame["n"]
    frame["freedom"] = frame["n"] - 1
    sums = frame.groupby("month")[["within", "freedom"]].sum()
    return (sums["within"] / sums["freedom"]) ** 0.5


for (what, sql), work in zip(SQL.items(), (from_pours, from_kept)):
    took = []
    for _ in range(3):
        start = time.perf_counter()
        with sqlite3.connect(f"file:{sys.argv[1]}?mode=ro", uri=True) as log:
            assert len(work(pd.read_sql(sql, log))) > 1
        took.append(time.perf_counter() - start)
    print(f"{what + ' (' + pd.__version__ + ')':64} {1000 * sorted(took)[1]:9.2f} ms")
