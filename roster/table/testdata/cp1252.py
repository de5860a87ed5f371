# Writes byte and code point of Windows-1252 as Python's codec has them.
for n in range(256):
    try:
        print("%02X,%04X" % (n, ord(bytes([n]).decode("cp1252"))))
    except UnicodeDecodeError:
        print("%02X,none" % n)
