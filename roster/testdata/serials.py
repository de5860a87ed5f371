# Writes day number and date of the 1900 system from 1 March 1900 on, by
# Python's datetime: the date is 30 December 1899 plus the number of days.
import datetime
start = datetime.date(1899, 12, 30)
for n in list(range(61, 80000, 307)) + [42038, 43890, 36585, 73050]:
    print("%d,%s" % (n, (start + datetime.timedelta(days=n)).isoformat()))
