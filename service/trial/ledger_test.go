package trial_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"slices"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// linkAgain computes an entry's hash from the definition alone: SHA-256 of the canonical JSON (RFC 8785, by gowebpki/jcs)
// of the entry's other fields and the previous hash, digests in hexadecimal.
func linkAgain(t rapid.TB, e trial.LedgerEntry, previous trial.Digest) trial.Digest {
	text, err := json.Marshal(map[string]any{
		"trial": e.TrialID.String(), "subject": withoutTime(e.Subject), "n": e.N, "kind": e.Kind, "chain": withoutTime(e.ChainID),
		"public_digest": hex.EncodeToString(e.PublicDigest[:]), "private_digest": hex.EncodeToString(e.PrivateDigest[:]),
		"previous": hex.EncodeToString(previous[:]),
	})
	if err != nil {
		t.Fatal(err)
	}
	if text, err = jcs.Transform(text); err != nil {
		t.Fatal(err)
	}
	return sha256.Sum256(text)
}

// withoutTime writes a version 7 UUID with zeros for its time, the first 48 bits (RFC 9562, section 5.7).
func withoutTime(id trial.ID) string {
	text := id.String()
	if text[14] == '7' {
		text = "00000000-0000" + text[13:]
	}
	return text
}

func partDigestAgain(salt [32]byte, part []byte) trial.Digest {
	return sha256.Sum256(append(slices.Clone(salt[:]), part...))
}

var bytes32 = rapid.Custom(func(rt *rapid.T) [32]byte {
	return [32]byte(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(rt, "32 bytes"))
})

var kinds = []string{
	trial.LedgerEnrolment, trial.LedgerOuting, trial.LedgerOutingEnd, trial.LedgerUnit, trial.LedgerPeriod, trial.LedgerPeriodEnd, trial.LedgerDeviation,
	trial.LedgerCatch, trial.LedgerAmendment, trial.LedgerWithdrawal, trial.LedgerProtocol, trial.LedgerState, trial.LedgerImport,
}

func TestChainByTheDefinition(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		head := trial.Head{TrialID: madeUp(1), ChainID: madeUp(rapid.IntRange(2, 1<<20).Draw(rt, "chain"))}
		for n := int64(1); n <= int64(rapid.IntRange(1, 12).Draw(rt, "entries")); n++ {
			parts := trial.Parts{
				Public: rapid.SliceOf(rapid.Byte()).Draw(rt, "public"), PublicSalt: bytes32.Draw(rt, "salt"),
				Private: rapid.SliceOf(rapid.Byte()).Draw(rt, "private"), PrivateSalt: bytes32.Draw(rt, "salt"),
			}
			kind, subject := rapid.SampledFrom(kinds).Draw(rt, "kind"), madeUp(rapid.IntRange(1, 1<<20).Draw(rt, "subject"))
			e := head.Next(kind, subject, parts)
			if e.TrialID != head.TrialID || e.ChainID != head.ChainID || e.N != n || e.Kind != kind || e.Subject != subject {
				rt.Fatalf("entry %+v after %+v", e, head)
			}
			if e.PublicDigest != partDigestAgain(parts.PublicSalt, parts.Public) || e.PrivateDigest != partDigestAgain(parts.PrivateSalt, parts.Private) {
				rt.Fatal("a part's digest is not SHA-256(salt || part)")
			}
			if want := linkAgain(rt, e, head.Hash); e.Hash != want || e.Link(head.Hash) != want {
				rt.Fatalf("hash %s, want %s", e.Hash, want)
			}
			head = e.Head()
			if head.N != n || head.Hash != e.Hash || head.ChainID != e.ChainID || head.TrialID != e.TrialID {
				rt.Fatalf("head %+v after entry %+v", head, e)
			}
		}
	})
}

// One link worked out with sha256sum from the canonical text below, written by hand in RFC 8785's order: names sorted,
// no blanks, digests and ids in lower-case hexadecimal.
func TestOneLinkByHand(t *testing.T) {
	e := trial.LedgerEntry{
		TrialID: madeUp(1), ChainID: madeUp(2), N: 7, Kind: "catch", Subject: madeUp(3), PublicDigest: trial.Digest{0xaa}, PrivateDigest: trial.Digest{0xbb},
	}
	const zeros = "00000000000000000000000000000000000000000000000000000000000000"
	text := `{"chain":"00000000-0000-7000-8000-000000000002","kind":"catch","n":7,"previous":"cc` + zeros + `","private_digest":"bb` + zeros +
		`","public_digest":"aa` + zeros + `","subject":"00000000-0000-7000-8000-000000000003","trial":"01900000-0000-7000-8000-000000000001"}`
	want := sha256.Sum256([]byte(text))
	if got := e.Link(trial.Digest{0xcc}); got != want {
		t.Errorf("hash %s, want %x", got, want)
	}
}

// Whatever is changed in an entry, its hash is another.
func TestNoFieldCanBeChanged(t *testing.T) {
	e := trial.LedgerEntry{TrialID: madeUp(1), ChainID: madeUp(2), N: 7, Kind: "catch", Subject: madeUp(3), PublicDigest: trial.Digest{1}, PrivateDigest: trial.Digest{2}}
	seen := map[trial.Digest]string{e.Link(trial.Digest{3}): "as it was"}
	for name, change := range map[string]func(e *trial.LedgerEntry){
		"trial":          func(e *trial.LedgerEntry) { e.TrialID[15]++ },
		"chain":          func(e *trial.LedgerEntry) { e.ChainID[15]++ },
		"n":              func(e *trial.LedgerEntry) { e.N++ },
		"kind":           func(e *trial.LedgerEntry) { e.Kind = "amendment" },
		"subject":        func(e *trial.LedgerEntry) { e.Subject[15]++ },
		"public digest":  func(e *trial.LedgerEntry) { e.PublicDigest[31]++ },
		"private digest": func(e *trial.LedgerEntry) { e.PrivateDigest[31]++ },
		"digests":        func(e *trial.LedgerEntry) { e.PublicDigest, e.PrivateDigest = e.PrivateDigest, e.PublicDigest },
	} {
		changed := e
		change(&changed)
		hash := changed.Link(trial.Digest{3})
		if other, ok := seen[hash]; ok {
			t.Errorf("%s: the same hash as %s", name, other)
		}
		seen[hash] = name
	}
	if other, ok := seen[e.Link(trial.Digest{4})]; ok {
		t.Errorf("previous hash: the same hash as %s", other)
	}
}

// Leaves and roots of the test data of Certificate Transparency's reference implementation (RFC 6962; the tree of RFC
// 9162, section 2.1, is the same); the roots are given from memory.
func TestMerkleRootKnownTrees(t *testing.T) {
	var leaves [][]byte
	for _, text := range []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"} {
		leaf, err := hex.DecodeString(text)
		if err != nil {
			t.Fatal(err)
		}
		leaves = append(leaves, leaf)
	}
	for n, want := range []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", // SHA-256 of nothing (FIPS 180-4)
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	} {
		if got := merkleRoot(leaves[:n]).String(); got != want {
			t.Errorf("%d leaves: %s, want %s", n, got, want)
		}
	}
}

// merkleRoot is trial.LeavesRoot of leaves that are not hashed yet.
func merkleRoot(leaves [][]byte) trial.Digest {
	hashes := make([]trial.Digest, len(leaves))
	for i, leaf := range leaves {
		hashes[i] = sha256.Sum256(append([]byte{0}, leaf...))
	}
	return trial.LeavesRoot(hashes)
}

// rootAgain computes the root of RFC 9162, section 2.1, another way than by its recursion: leaves are hashed and equal
// subtrees joined from the left like carries of a binary counter, then what is left is joined from the right.
func rootAgain(leaves [][]byte) trial.Digest {
	type subtree struct {
		size int
		hash [32]byte
	}
	join := func(left, right subtree) subtree {
		return subtree{left.size + right.size, sha256.Sum256(slices.Concat([]byte{1}, left.hash[:], right.hash[:]))}
	}
	var stack []subtree
	for _, leaf := range leaves {
		stack = append(stack, subtree{1, sha256.Sum256(append([]byte{0}, leaf...))})
		for len(stack) > 1 && stack[len(stack)-1].size == stack[len(stack)-2].size {
			stack = append(stack[:len(stack)-2], join(stack[len(stack)-2], stack[len(stack)-1]))
		}
	}
	if len(stack) == 0 {
		return sha256.Sum256(nil)
	}
	for len(stack) > 1 {
		stack = append(stack[:len(stack)-2], join(stack[len(stack)-2], stack[len(stack)-1]))
	}
	return stack[0].hash
}

func TestMerkleRootByTheDefinition(t *testing.T) {
	for n := range 70 {
		leaves := make([][]byte, n)
		for i := range leaves {
			leaves[i] = bytes.Repeat([]byte{byte(i)}, i%5)
		}
		if got, want := merkleRoot(leaves), rootAgain(leaves); got != want {
			t.Errorf("%d leaves: %s, want %s", n, got, want)
		}
	}
}

// A checkpoint is SHA-256(previous checkpoint || Merkle root of the heads in order of chain id); the order in which the
// heads come changes nothing, any change of a head changes it.
func TestCheckpoints(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		heads := make([]trial.Head, rapid.IntRange(0, 9).Draw(rt, "chains"))
		for i := range heads {
			heads[i] = trial.Head{TrialID: madeUp(1), ChainID: madeUp(10 + i), N: rapid.Int64Range(0, 1<<40).Draw(rt, "n"), Hash: bytes32.Draw(rt, "hash")}
		}
		var previous *trial.Checkpoint
		var before trial.Digest
		if rapid.Bool().Draw(rt, "not the first") {
			previous = &trial.Checkpoint{TrialID: madeUp(1), N: rapid.Int64Range(1, 1000).Draw(rt, "number"), Hash: bytes32.Draw(rt, "before")}
			before = previous.Hash
		}
		leaves := make([][]byte, len(heads))
		for i, h := range heads {
			id, err := trial.ParseID(withoutTime(h.ChainID))
			if err != nil {
				rt.Fatal(err)
			}
			leaves[i] = slices.Concat(id[:], binary.BigEndian.AppendUint64(nil, uint64(h.N)), h.Hash[:])
		}
		root := rootAgain(leaves)
		given := shuffled(rt, heads)
		kept := slices.Clone(given)
		c := trial.NextCheckpoint(madeUp(1), previous, given, noon)
		if want := sha256.Sum256(slices.Concat(before[:], root[:])); c.Root != root || c.Hash != want {
			rt.Errorf("root %s, hash %s; want %s, %x", c.Root, c.Hash, root, want)
		}
		wantN := int64(1)
		if previous != nil {
			wantN = previous.N + 1
		}
		if c.N != wantN || c.TrialID != madeUp(1) || !c.At.Equal(noon) {
			rt.Errorf("checkpoint %+v", c)
		}
		if !slices.Equal(given, kept) {
			rt.Error("the heads handed in were put in another order")
		}
		if len(heads) > 0 {
			heads[0].N++
			if trial.NextCheckpoint(madeUp(1), previous, heads, noon).Hash == c.Hash {
				rt.Error("a moved head leaves the checkpoint as it was")
			}
		}
		if later := trial.NextCheckpoint(madeUp(1), previous, given, noon.Add(time.Hour)); later.Hash != c.Hash {
			rt.Error("the time changes the fingerprint of the same records")
		}
	})
}
