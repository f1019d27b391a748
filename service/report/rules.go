package report

import (
	"strings"

	"evenrig/service/trial"
)

// Rules are a protocol as sentences for who fishes by it with a phone; the printed rule sheet says the same of slips.
type Rules struct {
	Same, Rig       string   // what the two flies share, and how they hang
	Round, Swapping []string // how a round is fished, and what holds at the swap
	Counts, Besides []string // which fish are compared, and what is written down all the same
	Stop            []string
	Cautions        []trial.Caution
}

// NewRules returns the protocol's rules in words. A draft's gaps show as gaps.
func NewRules(p trial.Protocol) Rules {
	w := newKitWords(p)
	r := Rules{Same: w.Same, Rig: w.Rig, Round: w.Round, Swapping: w.Swapping, Counts: w.Counts, Besides: w.Besides, Stop: w.Stop, Cautions: w.Care}
	r.Round[0] = "When you are ready to rig, and not before, the next round shows which fly is the " + p.LowerWord + " first. Rig it so, and say that it is."
	r.Round[3] = "Then begin the next round. What is on the line may stay, where chance says so."
	if p.Design == trial.PairedByOuting {
		r.Round[3] = "Going to another water in between leaves the round: begin the next one there."
	}
	for i := range r.Round {
		r.Round[i] = strings.ReplaceAll(r.Round[i], "open the next slip", "begin the next round")
	}
	r.Counts[2] = "Both flies were in the water as drawn, none lost, broken or tangled."
	return r
}
