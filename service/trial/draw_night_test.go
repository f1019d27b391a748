package trial_test

import (
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"evenrig/service/trial"
)

// The vector was made with Python's hashlib and hmac from the definition of scheme 1 alone: seed 00..1f, the words in UTF-8
// joined by 0x00, the enrolment's 16 bytes, code 20..3f, group sizes 2 and 4.
func TestWordsVector(t *testing.T) {
	var seed, code [32]byte
	for i := range seed {
		seed[i], code[i] = byte(i), byte(0x20+i)
	}
	enrolment := trial.ID{0x01, 0x90, 0, 0, 0, 0, 0x70, 0, 0x80, 0, 0, 0, 0, 0, 0, 0x0a}
	night := trial.DrawNight{Words: []trial.DrawWord{{Word: "Nebel"}, {Word: "Äsche"}, {Word: "Rinne"}}}
	key := trial.AllocationKey(seed, night.Texts(), enrolment, code)
	if got := hex.EncodeToString(key[:]); got != "b1e472041a622e103a4d86af37cd1e87160d34511a1e69c21acc5711967b69a9" {
		t.Errorf("the key is %s", got)
	}
	draw := trial.Draw{Method: trial.PermutedBlocks, GroupSizes: []int{2, 4}}
	for i, sign := range strings.ReplaceAll("--++ -+-+ +- -+ +-+- +--+", " ", "") {
		want := map[rune]trial.Arrangement{'+': trial.TestLower, '-': trial.ControlLower}[sign]
		if got := draw.UnitArrangement(key, i+1); got != want {
			t.Errorf("unit %d is %s, want %s", i+1, got, want)
		}
	}
}

func TestWordsOfDrawNight(t *testing.T) {
	for _, good := range []string{"a", "Äsche", "O'Rourke-7", strings.Repeat("ß", 40), "魚"} {
		wantFaults(t, trial.CheckWord(good))
	}
	for _, bad := range []string{"", " ", "two words", "tab\t", "nul\x00", "\xff", "\u200b", strings.Repeat("a", 41)} {
		wantFaults(t, trial.CheckWord(bad), "word")
	}
	open := trial.Trial{Source: trial.Drawn, State: trial.Registered}
	full := trial.DrawNight{}
	for n := range trial.MostWords {
		if err := open.TakesWord(full); err != nil {
			t.Errorf("after %d words: %v", n, err)
		}
		full.Words = append(full.Words, trial.DrawWord{N: n + 1, Word: fmt.Sprint(n)})
	}
	wantKind(t, open.TakesWord(full), trial.Conflict, "words.full")
	wantKind(t, open.TakesWord(trial.DrawNight{ClosedAt: ptr(noon)}), trial.Conflict, "words.closed")
	wantKind(t, trial.Trial{Source: trial.Recorded, State: trial.Open}.TakesWord(trial.DrawNight{}), trial.Conflict, "trial.recorded")
	for state, takes := range map[trial.State]bool{
		trial.Draft: false, trial.Registered: true, trial.Open: true, trial.Paused: true, trial.Closed: false, trial.Locked: false, trial.Published: false, trial.Abandoned: false,
	} {
		if err := (trial.Trial{Source: trial.Drawn, State: state}).TakesWord(trial.DrawNight{}); (err == nil) != takes {
			t.Errorf("%s: %v", state, err)
		}
	}
}
