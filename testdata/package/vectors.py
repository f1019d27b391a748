"""Hashes of a package's ledger by their definitions alone, with Python's hashlib, hmac and json: python3 vectors.py > vectors.json"""
import hashlib, hmac, json, platform


def sha(*parts):
    h = hashlib.sha256()
    for p in parts:
        h.update(p)
    return h.digest()


def uuid(s):
    return bytes.fromhex(s.replace("-", ""))


def root(leaves):  # RFC 9162, section 2.1.1, over leaf hashes
    if not leaves:
        return sha(b"")
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return sha(b"\x01", root(leaves[:k]), root(leaves[k:]))


trial = "5d8a0b1e-2f64-4c0e-9d4b-7a1f00c3e9d2"
chain = "c0a8017e-11d2-4b5f-8e3a-0f9d8c7b6a51"
subject = "00000000-0000-7e11-b2c3-d4e5f6071829"
salt = bytes(range(32))
other = bytes(range(32, 64))
public = '{"catch":"00000000-0000-7e11-b2c3-d4e5f6071829","taken_pattern":"C","week":"2026-W37"}'
private = '{"caught_at":"2026-09-09T17:12:03.250Z","note":"bei der Mühle"}'
previous = sha(b"the entry before")

digests = {"public": sha(salt, public.encode()), "private": sha(other, private.encode())}
fields = {
    "trial": trial, "chain": chain, "n": 17, "kind": "catch", "subject": subject, "previous": previous.hex(),
    "public_digest": digests["public"].hex(), "private_digest": digests["private"].hex(),
}
# RFC 8785 of ASCII keys, ASCII strings and a small whole number is json.dumps with sorted keys and no blanks.
link = sha(json.dumps(fields, sort_keys=True, separators=(",", ":")).encode())

heads = [("11111111-1111-4111-8111-11111111111%x" % i, 3 + i * 251, sha(b"head %d" % i)) for i in range(6)]
leaf = [sha(b"\x00", uuid(c), n.to_bytes(8, "big"), h) for c, n, h in heads]
roots = [root(leaf[:n]) for n in range(7)]
first = sha(bytes(32), roots[3])
second = sha(first, roots[6])

seed, fingerprint, code = bytes(range(64, 96)), sha(b"the rule sheet"), bytes(range(96, 128))
words = "alder\x00brook".encode()
key = hmac.new(hmac.new(seed, words, "sha256").digest(), uuid(chain) + code, "sha256").digest()


def group(g, sizes):
    state = {"counter": 0, "block": b""}

    def below(k):
        while True:
            if not state["block"]:
                state["block"] = hmac.new(key, b"g|%d|%d" % (g, state["counter"]), "sha256").digest()
                state["counter"] += 1
            b, state["block"] = state["block"][0], state["block"][1:]
            if b < 256 - 256 % k:
                return b % k

    size = sizes[below(len(sizes))] if len(sizes) > 1 else sizes[0]
    order = ["test_lower"] * (size // 2) + ["control_lower"] * (size // 2)
    for i in range(size - 1, 0, -1):
        j = below(i + 1)
        order[i], order[j] = order[j], order[i]
    return order


orders, g = [], 1
while len(orders) < 24:
    orders += group(g, [2, 4])
    g += 1

print(json.dumps({
    "source": "definitions of the ledger, of RFC 9162 section 2.1 and of the draw's scheme 1; invented contents",
    "computed_with": "Python %s, hashlib, hmac and json" % platform.python_version(),
    "trial": trial, "chain": chain, "subject": subject, "kind": "catch", "n": 17, "previous": previous.hex(),
    "salt": salt.hex(), "private_salt": other.hex(), "public": public, "private": private,
    "public_digest": digests["public"].hex(), "private_digest": digests["private"].hex(), "hash": link.hex(),
    "heads": [{"chain": c, "n": n, "hash": h.hex(), "leaf": l.hex()} for (c, n, h), l in zip(heads, leaf)],
    "roots": [r.hex() for r in roots], "checkpoints": [first.hex(), second.hex()],
    "seed": seed.hex(), "fingerprint": fingerprint.hex(), "commitment": sha(b"alloc-commit-v1\x00", seed, fingerprint).hex(),
    "words": ["alder", "brook"], "code": code.hex(), "sizes": [2, 4], "orders": orders[:24],
}, indent=1, ensure_ascii=False))
