package trial_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// handedOut are the first n units of a draw, opened where the text says o.
func handedOut(d trial.Draw, key [32]byte, opened string) []trial.Unit {
	var units []trial.Unit
	for i := range opened {
		u := trial.Unit{ID: madeUp(200 + i), N: i + 1, First: d.UnitArrangement(key, i+1)}
		if opened[i] == 'o' {
			u.OpenedAt = ptr(noon)
		}
		units = append(units, u)
	}
	return units
}

// listed writes blocks as group/size and sign.
func listed(blocks []trial.DrawnBlock) string {
	var parts []string
	for _, b := range blocks {
		sign := map[trial.Arrangement]string{trial.TestLower: "+", trial.ControlLower: "-"}[b.First]
		parts = append(parts, fmt.Sprintf("%s:%d/%d%s", b.Block, b.Group, b.Size, sign))
	}
	return strings.Join(parts, " ")
}

// The published vector of scheme 1 (computed with Python's hashlib and hmac): seed 00..1f, no words, enrolment
// 0190000000007000800000000000000a, code 20..3f, groups of 2 or 4: -+ +- +- +- --++ +-.
func TestDrawnByTheVector(t *testing.T) {
	var seed, code [32]byte
	for i := range seed {
		seed[i], code[i] = byte(i), byte(0x20+i)
	}
	enrolment := trial.ID{0x01, 0x90, 0, 0, 0, 0, 0x70, 0, 0x80, 0, 0, 0, 0, 0, 0, 0x0a}
	d := trial.Draw{Method: trial.PermutedBlocks, GroupSizes: []int{2, 4}}
	key := trial.AllocationKey(seed, nil, enrolment, code)
	for opened, want := range map[string]string{
		"":   "",
		"hh": "",
		"o":  "1:1/0-", // its fellow would follow from it
		"oo": "1:1/2- 2:1/2+",
		// The first of a group of four tells nothing of the others.
		"ooooooooo":      "1:1/2- 2:1/2+ 3:2/2+ 4:2/2- 5:3/2+ 6:3/2- 7:4/2+ 8:4/2- 9:5/0-",
		"ooooooooooohhh": "1:1/2- 2:1/2+ 3:2/2+ 4:2/2- 5:3/2+ 6:3/2- 7:4/2+ 8:4/2- 9:5/0- 10:5/0- 11:5/0+",
		"oooooooooooooo": "1:1/2- 2:1/2+ 3:2/2+ 4:2/2- 5:3/2+ 6:3/2- 7:4/2+ 8:4/2- 9:5/4- 10:5/4- 11:5/4+ 12:5/4+ 13:6/2+ 14:6/2-",
	} {
		units := handedOut(d, key, opened)
		slices.Reverse(units) // in whatever order
		blocks := d.Drawn(key, "7K2MZQ", units)
		if got := listed(blocks); got != want {
			t.Errorf("opened %q:\ngot  %s\nwant %s", opened, got, want)
		}
		for _, b := range blocks {
			if b.Angler != "7K2MZQ" {
				t.Errorf("a block of %q", b.Angler)
			}
		}
	}
}

// Whatever was opened: every opened unit is listed once, in order, as it was handed out; a group whose size is told is
// listed whole and half of it is each way; a coin is a group of one; blocks are called as the tallies call them.
func TestDrawnByTheDefinition(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		key := bytes32.Draw(rt, "key")
		d := trial.Draw{Method: trial.CoinPerBlock}
		if rapid.Bool().Draw(rt, "permuted") {
			d = trial.Draw{Method: trial.PermutedBlocks, GroupSizes: rapid.SampledFrom([][]int{{2}, {4}, {6}, {2, 4}, {2, 4, 6}}).Draw(rt, "sizes")}
		}
		opened := rapid.StringOfN(rapid.RuneFrom([]rune("ooooh")), 0, 30, -1).Draw(rt, "opened")
		units := handedOut(d, key, opened)
		blocks := d.Drawn(key, "7K2MZQ", units)
		if len(blocks) != strings.Count(opened, "o") {
			rt.Fatalf("%d blocks of %q", len(blocks), opened)
		}
		sizes, balance := map[int]int{}, map[int]int{}
		i := 0
		for _, u := range units {
			if u.OpenedAt == nil {
				continue
			}
			b := blocks[i]
			if b.Block != fmt.Sprint(u.N) || b.First != u.First {
				rt.Errorf("unit %d is listed as %+v", u.N, b)
			}
			if d.Method == trial.CoinPerBlock && (b.Group != u.N || b.Size != 1) {
				rt.Errorf("a coin is listed as %+v", b)
			}
			sizes[b.Group]++
			balance[b.Group] += b.First.Sign()
			i++
		}
		for _, b := range blocks {
			if b.Size != 0 && (sizes[b.Group] != b.Size || d.Method == trial.PermutedBlocks && balance[b.Group] != 0) {
				rt.Errorf("group %d of %d blocks, %d of them listed, %+d of them test pattern lower first", b.Group, b.Size, sizes[b.Group], balance[b.Group])
			}
			if d.Method == trial.PermutedBlocks && b.Size == 0 && len(d.GroupSizes) == 1 && sizes[b.Group] == d.GroupSizes[0] {
				rt.Errorf("group %d is listed whole and its size is not told", b.Group)
			}
		}
	})
}
