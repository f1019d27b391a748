package analysis_test

import (
	"bytes"
	"fmt"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// FuzzRun makes records of whatever bytes come: every checked input has a result that encodes, so that it holds no NaN and no
// infinity, and the same one again.
func FuzzRun(f *testing.F) {
	f.Add([]byte("evenrig"), uint8(0))
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 200, 130, 140, 150, 33, 77}, uint8(3))
	f.Add(bytes.Repeat([]byte{9, 7, 80, 31, 240}, 20), uint8(5))
	f.Fuzz(func(t *testing.T, records []byte, setting uint8) {
		if len(records) > 120 {
			records = records[:120]
		}
		in := analysis.Input{Test: "A", Control: "B", Source: []trial.Source{trial.Drawn, trial.Recorded}[setting%2]}
		blocks := map[[2]string]bool{}
		for i := 0; i+2 < len(records); i += 3 {
			a, b, c := records[i], records[i+1], records[i+2]
			tally := trial.Tally{
				Angler: fmt.Sprint(a % 7), Outing: []string{"", "1", "2", "3"}[a/7%4], Block: []string{"", "x", "y"}[a/28%3],
				Arrangement: []trial.Arrangement{trial.TestLower, trial.ControlLower}[b%2], Taken: []trial.Taken{trial.TookTest, trial.TookControl}[b/2%2],
				Half: int(b / 4 % 3), Finished: b/12%2 == 1, Late: b/24%2 == 1, Deviated: b/48%2 == 1, OpenedLate: b/96%2 == 1,
				Species: []string{"", "Salmo trutta", "Thymallus thymallus"}[c%3], Origin: []trial.Origin{trial.Wild, trial.Stocked, trial.UnknownOrigin}[c/3%3],
				Week: []string{"", "2026-W10", "2026-W11", "2026-W53"}[c/9%4], Fly: []string{"", "one", "two"}[c/36%3], N: 1 + int64(c/108)*37,
			}
			if c%11 == 0 {
				tally.Taken, tally.Exclusion = trial.TookUnknown, trial.NotSure
			}
			if in.Source == trial.Drawn && tally.Half > 0 && tally.Block != "" {
				tally.Drawn = tally.Arrangement
				if key := [2]string{tally.Angler, tally.Block}; !blocks[key] {
					blocks[key] = true
					in.Draw = append(in.Draw, trial.DrawnBlock{Angler: key[0], Block: key[1], Group: 1 + len(in.Draw)/2, Size: int(setting / 2 % 3), First: tally.Drawn})
				}
			}
			in.Tallies = append(in.Tallies, tally)
		}
		in.Choices = trial.Draw{Method: []string{trial.CoinPerBlock, trial.PermutedBlocks}[setting/8%2], GroupSizes: []int{2, 4}}
		in.Subgroups = []string{"species", "origin"}[:setting/16%3%2+setting/16%3/2]
		s := analysis.Settings{Vary: []analysis.Vary{"", analysis.VaryPattern, analysis.VaryPatternPosition}[setting/32%3], Correlated: setting >= 224}
		r, err := analysis.Run(in, s)
		if trial.KindOf(err) == trial.Invalid && err != nil {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		first, err := r.Encode()
		if err != nil {
			t.Fatal(err)
		}
		again, err := analysis.Run(in, s)
		if err != nil {
			t.Fatal(err)
		}
		if second, _ := again.Encode(); !bytes.Equal(first, second) {
			t.Fatal("the same input gives another result")
		}
	})
}
