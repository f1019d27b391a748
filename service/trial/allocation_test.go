package trial

import (
	"encoding/hex"
	"strings"
	"testing"
)

func counting(from byte) (b [32]byte) {
	for i := range b {
		b[i] = from + byte(i)
	}
	return b
}

// Expected values computed with Python's hashlib and hmac from the definitions alone (FIPS 180-4, RFC 2104).
func TestCommitment(t *testing.T) {
	got := Commitment(counting(0), []byte(`{"protocol":"example","version":1}`))
	if want := "f62e539f097c8d3657204291af43795bac279ee7bf4699f1ab5666b04b18ee67"; hex.EncodeToString(got[:]) != want {
		t.Errorf("commitment %x, want %s", got, want)
	}
}

// Expected values computed with Python's hashlib and hmac from the definitions alone.
func TestSchemeOne(t *testing.T) {
	enrolment, err := ParseID("01900000-0000-7000-8000-00000000000a")
	if err != nil {
		t.Fatal(err)
	}
	key := AllocationKey(counting(0), nil, enrolment, counting(0x20))
	if want := "bd7e955f2c8ac1b547ea05a365f24470e5bb842774e06d63eafae6095cc58788"; hex.EncodeToString(key[:]) != want {
		t.Fatalf("key %x, want %s", key, want)
	}
	d := Draw{Method: PermutedBlocks, GroupSizes: []int{2, 4}}
	groups := strings.Fields("-+ +- +- +- --++ +-")
	n := 0
	for g, group := range groups {
		if got := len(d.group(key, g+1)); got != len(group) {
			t.Fatalf("group %d has %d blocks, want %d", g+1, got, len(group))
		}
		for _, sign := range group {
			n++
			want := TestLower
			if sign == '-' {
				want = ControlLower
			}
			if got := d.UnitArrangement(key, n); got != want {
				t.Errorf("unit %d is %s, want %s", n, got, want)
			}
		}
	}
}

// A fair coin lands each way about equally often: 4,000 tosses within 4.5 standard deviations (binomial, n/2 ± 4.5·√n/2).
func TestCoinIsFair(t *testing.T) {
	key := counting(9)
	d := Draw{Method: CoinPerBlock}
	const tosses = 4000
	heads := 0
	for g := 1; g <= tosses; g++ {
		heads += (d.group(key, g)[0].Sign() + 1) / 2
	}
	if heads < 2000-143 || heads > 2000+143 {
		t.Errorf("%d of %d tosses put the test pattern lower", heads, tosses)
	}
}

func TestEveryGroupIsBalanced(t *testing.T) {
	d := Draw{Method: PermutedBlocks, GroupSizes: []int{2, 4, 6}}
	sizes := map[int]int{}
	for g := 1; g <= 600; g++ {
		group, sum := d.group(counting(3), g), 0
		for _, a := range group {
			sum += a.Sign()
		}
		if sum != 0 {
			t.Fatalf("group %d is not balanced: %v", g, group)
		}
		sizes[len(group)]++
	}
	for _, size := range d.GroupSizes {
		if sizes[size] < 150 {
			t.Errorf("size %d was drawn %d times of 600, expected about 200", size, sizes[size])
		}
	}
}
