package trial

import (
	"slices"
	"strings"
)

// The signs of harm that an angler may note of a fish (after CONSORT Harms 2022, Junqueira et al. 2023, BMJ 381:e073725); foul
// hooking is a field of its own.
var welfareSigns = []string{"bleeding", "dead", "deep_hooked"}

// JoinWelfare returns the signs of harm seen on a fish as they are kept: each once, in order, joined by "+"; empty when none
// was seen.
func JoinWelfare(signs []string) string {
	signs = slices.Clone(signs)
	slices.Sort(signs)
	return strings.Join(slices.Compact(signs), "+")
}

// WelfareSigns returns the signs that JoinWelfare joined, never nil.
func WelfareSigns(joined string) []string {
	if joined == "" {
		return []string{}
	}
	return strings.Split(joined, "+")
}

func checkWelfare(f *Faults, joined string) {
	for _, sign := range WelfareSigns(joined) {
		OneOf(f, "welfare", sign, welfareSigns...)
	}
}
