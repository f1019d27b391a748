package trial_test

import (
	"crypto/hmac"
	"crypto/sha256"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// drawAgain derives an enrolment's first units from the published definition alone (scheme 1; HMAC-SHA256: RFC 2104,
// FIPS 180-4): S = HMAC(seed, words joined by 0x00); K = HMAC(S, enrolment's 16 bytes || code); group g reads the bytes
// of HMAC(K, "g|" g "|" counter), counter from 0, and a number below k is the next byte under 256 - 256 mod k, mod k.
// The size is the choice numbered below(n) where there are n > 1; the group starts with all + then all -, and for i from
// the last to the second i changes place with below(i+1). A coin is +, if below(2) is 0. + has the test pattern lower first.
func drawAgain(seed [32]byte, words []string, enrolment trial.ID, code [32]byte, d trial.Draw, units int) string {
	mac := func(key, message []byte) []byte {
		m := hmac.New(sha256.New, key)
		m.Write(message)
		return m.Sum(nil)
	}
	key := mac(mac(seed[:], []byte(strings.Join(words, "\x00"))), append(enrolment[:], code[:]...))
	var drawn strings.Builder
	for g := 1; drawn.Len() < units; g++ {
		var stream []byte
		for counter := range 40 {
			stream = append(stream, mac(key, fmt.Appendf(nil, "g|%d|%d", g, counter))...)
		}
		below := func(k int) int {
			for {
				b := int(stream[0])
				stream = stream[1:]
				if b < 256-256%k {
					return b % k
				}
			}
		}
		if d.Method == trial.CoinPerBlock {
			drawn.WriteByte("+-"[below(2)])
			continue
		}
		size := d.GroupSizes[0]
		if len(d.GroupSizes) > 1 {
			size = d.GroupSizes[below(len(d.GroupSizes))]
		}
		group := []byte(strings.Repeat("+", size/2) + strings.Repeat("-", size/2))
		for i := size - 1; i >= 1; i-- {
			j := below(i + 1)
			group[i], group[j] = group[j], group[i]
		}
		drawn.Write(group)
	}
	return drawn.String()[:units]
}

func TestDrawByTheDefinition(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		seed, code := bytes32.Draw(rt, "seed"), bytes32.Draw(rt, "code")
		words := rapid.SliceOfN(rapid.StringN(0, 8, -1), 0, 3).Draw(rt, "words")
		enrolment := madeUp(rapid.IntRange(1, 1<<20).Draw(rt, "enrolment"))
		d := trial.Draw{Method: trial.CoinPerBlock}
		if rapid.Bool().Draw(rt, "permuted") {
			d = trial.Draw{
				Method:     trial.PermutedBlocks,
				GroupSizes: rapid.SampledFrom([][]int{{2}, {4}, {6}, {2, 4}, {4, 2}, {2, 6}, {2, 4, 6}}).Draw(rt, "sizes"),
			}
		}
		units := rapid.IntRange(1, 40).Draw(rt, "units")
		want := drawAgain(seed, words, enrolment, code, d, units)
		key := trial.AllocationKey(seed, words, enrolment, code)
		for n := 1; n <= units; n++ {
			sign := map[trial.Arrangement]byte{trial.TestLower: '+', trial.ControlLower: '-'}[d.UnitArrangement(key, n)]
			if sign != want[n-1] {
				rt.Fatalf("unit %d is %c, want %c of %s", n, sign, want[n-1], want)
			}
		}
	})
}

// Nobody's draw depends on another's: each of seed, words, enrolment and code changes the key, and nothing else enters.
func TestKeyDependsOnEveryShare(t *testing.T) {
	seed, code := [32]byte{1}, [32]byte{2}
	keys := map[[32]byte]string{trial.AllocationKey(seed, nil, madeUp(1), code): "as it was"}
	for name, key := range map[string][32]byte{
		"seed":      trial.AllocationKey([32]byte{3}, nil, madeUp(1), code),
		"a word":    trial.AllocationKey(seed, []string{"heron"}, madeUp(1), code),
		"two words": trial.AllocationKey(seed, []string{"he", "ron"}, madeUp(1), code),
		"enrolment": trial.AllocationKey(seed, nil, madeUp(2), code),
		"code":      trial.AllocationKey(seed, nil, madeUp(1), [32]byte{4}),
	} {
		if other, ok := keys[key]; ok {
			t.Errorf("%s: the same key as %s", name, other)
		}
		keys[key] = name
	}
	if trial.AllocationScheme != 1 {
		t.Errorf("scheme %d; the derivation above is scheme 1", trial.AllocationScheme)
	}
}
