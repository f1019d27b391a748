package report

import (
	"fmt"
	"strings"

	"evenrig/service/trial"
)

// Progress is how far an open trial has come, in numbers that tell patterns and arrangements apart by nothing.
type Progress struct {
	Title    string
	Effort   trial.Effort
	Catches  int64
	Analysed int64
	Finished int64 // analysed fish in finished blocks
	Excluded map[trial.Exclusion]int64
	MaxFish  int
	NextLook string // when the next look is made, empty where none is planned
}

// Note is the week in a few lines of plain text, to paste into the club's chat. It ranks nobody and shows no split.
func Note(p Progress) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	e := p.Effort
	line("%s", p.Title)
	line("%s by %s on %s so far, of at most %d fish planned.", counted(p.Analysed, "fish"), counted(e.Enrolled, "angler"), counted(e.Outings, "outing"), p.MaxFish)
	if e.Outings > 0 {
		line("%d of %d outings were blank; they count too, so please close them as well.", e.BlankOutings, e.Outings)
	}
	if e.Blocks > 0 {
		line("%d of %d rounds were finished (%d of 100), with %s in them. Swapping when the rule says so is what makes the trial fair.",
			e.FinishedBlocks, e.Blocks, percentOf(e.FinishedBlocks, e.Blocks), counted(p.Finished, "fish"))
	}
	if unsure := p.Excluded[trial.NotSure]; unsure > 0 {
		line("Not sure which fly: %d of %d fish. That is an honest answer; a look at the fly before unhooking helps.", unsure, p.Catches)
	}
	if e.NotLogged > 0 {
		line("Not logged, by the anglers' own count: %d.", e.NotLogged)
	}
	if e.Deviations > 0 || e.LateNoted > 0 {
		line("Not as planned: %s. Noted late: %d fish.", counted(e.Deviations, "report"), e.LateNoted)
	}
	if p.NextLook != "" {
		line("Next count: %s.", p.NextLook)
	}
	line("Which fly is ahead nobody knows, and nobody should guess aloud before the trial is locked.")
	return b.String()
}

func percentOf(part, whole int64) int64 { return (200*part + whole) / (2 * whole) }

// counted says a number with its noun; fish stay fish.
func counted(n int64, noun string) string {
	if n != 1 && noun != "fish" {
		noun += "s"
	}
	return fmt.Sprintf("%d %s", n, noun)
}
