#!/usr/bin/env python3
"""Decode OBD-II replies with Wireshark's dissector, as a reference written by others.

usage: generate.py > replies.jsonl      (needs tshark and the Python standard library)

Each PID that the dissector knows is given its smallest, its largest, a middle and some
arbitrary values. One PID per reply: the dissector takes no more.
"""
import json, os, random, re, struct, subprocess, tempfile

LENGTH = {1: "04 05 06 07 08 09 0B 0D 0E 0F 11 13 1C 1D 2E 2F 33 45 46 47 48 49 4A",
          2: "0C 10 14 15 16 17 18 19 1A 1B 1F 21 31 3C 3D 3E 3F 42 43 44 4D 4E 55 56 57 58 5E 03",
          4: "00 20 40 60 24 25 26 27 28 29 2A 2B 34 35 36 37 38 39 3A 3B"}
FUEL_STATUS = [bytes([a, 0]) for a in (0, 1, 2, 4, 8, 16)]


def replies():
    rnd = random.Random(1979)
    for size, pids in LENGTH.items():
        for pid in map(lambda s: int(s, 16), pids.split()):
            values = [bytes(size), bytes([0xFF] * size), bytes([0x80] + [0] * (size - 1)), bytes([0x7F] + [0xFF] * (size - 1))]
            values += [rnd.randbytes(size) for _ in range(4)]
            for v in FUEL_STATUS if pid == 3 else dict.fromkeys(values):
                yield bytes([0x41, pid]) + v
    for vin in b"1M8GDM9AXKP042788", b"1G1JC5444R7252367":
        yield b"\x49\x02\x01" + vin


def frames(reply):
    """The ISO 15765-2 frames of a reply, with the tester's flow control."""
    if len(reply) <= 7:
        return [(0x7E8, bytes([len(reply)]) + reply)]
    out = [(0x7E8, struct.pack(">H", 0x1000 | len(reply)) + reply[:6]), (0x7E0, b"\x30\0\0")]
    for i, at in enumerate(range(6, len(reply), 7), 1):
        out.append((0x7E8, bytes([0x20 | i & 15]) + reply[at:at + 7]))
    return out


def main():
    capture = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 227)  # link type: SocketCAN
    count, last = 0, {}
    for reply in replies():
        for can_id, data in frames(reply):
            packet = struct.pack(">IB3x8s", can_id, 8, data.ljust(8, b"\0"))
            capture += struct.pack("<IIII", count, 0, len(packet), len(packet)) + packet
            count += 1
        last[count] = reply
    listing = subprocess.run(["tshark", "-G", "fields"], capture_output=True, text=True, check=True).stdout
    names = list(dict.fromkeys(re.findall(r"^F\t[^\t]*\t(obd-ii\.(?:mode01_\w+|VIN))\t", listing, re.M)))
    with tempfile.NamedTemporaryFile(suffix=".pcap") as f:
        f.write(capture)
        f.flush()
        cmd = ["tshark", "-n", "-Q", "-r", f.name, "-d", "can.subdissector,iso15765", "-d", "iso15765.subdissector,obd-ii",
               "-T", "fields", "-e", "frame.number", "-e", "_ws.col.Info"]
        for n in names:
            cmd += ["-e", n]
        rows = subprocess.run(cmd, capture_output=True, text=True, check=True).stdout.splitlines()
    for row in rows:
        number, info, *values = row.split("\t")
        if int(number) in last:
            out = {"reply": last[int(number)].hex().upper(), "fields": {}}
            for n, v in zip(names, values):
                n = n.removeprefix("obd-ii.").removeprefix("mode01_")
                if v and n not in ("pid", "unsupported_pid") and not n.startswith("supported_pid"):
                    out["fields"][n] = v if n == "VIN" else int(v, 16) if v.startswith("0x") else float(v)
            # Some values are only in the line of text, rounded to two decimals.
            if trims := re.findall(r"(-?[\d.]+) %", info):
                out["percent"] = [float(t) for t in trims]
            if "supported [" in info:
                out["supported"] = re.findall(r"\b[0-9A-F]{2}\b", info.partition("]:")[2])
            if "sensors present" in info:
                out["sensors"] = [f"B{b}S{n}" for b, l in re.findall(r"Bank(\d) sensors: ([\d ]+)", info) for n in l.split()]
            print(json.dumps(out))


main()
