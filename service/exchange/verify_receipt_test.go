package exchange

import (
	"encoding/hex"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"evenrig/service/trial"
)

// Whoever fished finds the own records: as they were, corrected and why, or missing; and proves them by the private part.
func TestReceipts(t *testing.T) {
	w := play(t, smallTrial())
	p := readBack(t, written(t, w.publish()))
	i := slices.IndexFunc(w.anglers, func(a SourceAngler) bool {
		return slices.ContainsFunc(a.Records.Catches, func(c trial.Catch) bool { return c.Void })
	})
	a := w.anglers[i]
	void := a.Records.Catches[slices.IndexFunc(a.Records.Catches, func(c trial.Catch) bool { return c.Void })].ID
	receipt := func(e trial.LedgerEntry, parts trial.Parts) map[string]any {
		return map[string]any{
			"trial": e.TrialID, "chain": e.ChainID, "n": e.N, "hash": e.Hash, "kind": e.Kind, "private": string(parts.Private), "private_salt": hex.EncodeToString(parts.PrivateSalt[:]),
		}
	}
	var mine []any
	for _, e := range a.Chain.Entries {
		mine = append(mine, receipt(e, a.Chain.Parts[e.N]))
	}
	other := receipt(a.Chain.Entries[3], a.Chain.Parts[4])
	other["trial"], other["hash"] = w.id(4), strings.Repeat("ab", 32)
	download, err := json.Marshal(map[string]any{"me": "x", "trials": []any{map[string]any{"receipts": append(mine, other)}}})
	if err != nil {
		t.Fatal(err)
	}
	receipts, err := ReadReceipts(download)
	if err != nil || len(receipts) != len(a.Chain.Entries)+1 {
		t.Fatalf("%d receipts of %d (%v)", len(receipts), len(a.Chain.Entries)+1, err)
	}
	v := verified(t, p, receipts...)
	if !v.Agrees() {
		t.Fatalf("honest receipts disagree:\n%s", told(v))
	}
	corrected := 0
	for _, own := range v.Own {
		if !own.Found || own.Proven == nil || !*own.Proven || own.Angler != a.Records.Enrolment.Pseudonym {
			t.Errorf("%+v", own)
		}
		if own.subject == void.Public() && own.Kind == trial.LedgerCatch {
			corrected++
			if !strings.Contains(own.Text, "by angler "+own.Angler+": =tapped the wrong fly") || !strings.Contains(own.Text, "entered twice") {
				t.Errorf("the correction is told as %q", own.Text)
			}
		}
	}
	if corrected != 1 || len(v.Own) != len(mine) {
		t.Errorf("%d corrected, %d told", corrected, len(v.Own))
	}
	var text strings.Builder
	if err := v.Text(&text); err != nil || !strings.Contains(text.String(), "records stand as received") || strings.Count(text.String(), "was corrected") < 1 {
		t.Errorf("%v:\n%s", err, &text)
	}

	lie := receipts[2]
	lie.Private = append([]byte(nil), lie.Private...)
	lie.Private[5] ^= 1
	if v := verified(t, p, lie); v.Agrees() {
		t.Error("a private part that was not entered is taken")
	}
	late := Receipt{Chain: receipts[0].Chain, N: int64(len(mine)) + 4, Hash: trial.Digest{9}}
	if v := verified(t, p, late); !v.Agrees() || v.Own[0].Found {
		t.Errorf("a record that arrived after locking: %+v", v.Own)
	}
	gone := Receipt{Chain: receipts[0].Chain, N: 3, Hash: trial.Digest{9}}
	if v := verified(t, p, gone); v.Agrees() {
		t.Error("a receipt whose record is gone is taken")
	}
}

func TestReadReceiptsRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"":                               "is no code",
		"abc":                            "is no code",
		"0123456789abcdeg0":              "is no code",
		"{":                              "cannot be read as JSON",
		`{"a":1}`:                        "has no receipt in it",
		`{"chain":"x","n":1,"hash":"y"}`: "hash",
		`[{"chain":"0190a2b4-7c1d-7e5f-8a3b-0123456789ab","n":0,"hash":"` + strings.Repeat("ab", 32) + `"}]`: "whole number from 1",
	} {
		if _, err := ReadReceipts([]byte(text)); trial.KindOf(err) != trial.Invalid || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v", text, err)
		}
	}
	got, err := ReadReceipts([]byte(" " + strings.ToUpper(strings.Repeat("ab", 8)) + "\n"))
	if err != nil || len(got) != 1 || got[0].Code != strings.Repeat("ab", 8) {
		t.Errorf("%+v, %v", got, err)
	}
}
