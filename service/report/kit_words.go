package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"evenrig/service/trial"
)

// kitWords are the rules as sentences.
type kitWords struct {
	Same, Rig       string
	Tag             bool // the upper fly hangs on a tag or loop
	Spacing         string
	Round, Swapping []string
	Short           string // the swap rule in a few words
	Counts, Besides []string
	Stop            []string
	Species         string
	ByOuting        bool
	Care            []trial.Caution
	Single          bool // one species: a card need not name it
}

func newKitWords(p trial.Protocol) kitWords {
	w := kitWords{
		Same: sameness(p.Rig), Rig: rigSentence(p), Tag: p.Rig.DropperMount == "tag" || p.Rig.DropperMount == "loop", Spacing: bothLengths(p.Rig.SpacingCM),
		Short: swapRule(p.Swap), Species: orList(p.Species), ByOuting: p.Design == trial.PairedByOuting, Care: About{Protocol: &p}.cautions(), Single: len(p.Species) == 1,
	}
	w.Round, w.Swapping = roundRules(p)
	w.Counts, w.Besides = countRules(p)
	w.Stop = stopRules(p)
	return w
}

func sameness(r trial.Rig) string {
	s := fmt.Sprintf("All else is the same in both: hook (%s), weight, thread, size and whoever tied them", joined(r.HookModel, "size "+r.HookSize, r.Barb))
	if r.BeadMM != nil {
		s += ", bead " + number(*r.BeadMM) + " mm"
	}
	return s + fmt.Sprintf(". Have %s of each, use them in turn, and put a fly away after %s.",
		Counted(int64(r.SpecimensPerPattern), "fly", "flies"), Counted(int64(r.ReplaceAfterFish), "fish", "fish"))
}

func rigSentence(p trial.Protocol) string {
	mount := map[string]string{
		"tag": "on a tag of " + bothLengths(p.Rig.DropperTagCM), "loop": "on a loop of " + bothLengths(p.Rig.DropperTagCM),
		"bend": "from the bend of the hook above", "in_line": "in the line",
	}[p.Rig.DropperMount]
	s := fmt.Sprintf("%s between the flies, give or take %s; tippet of %s mm to both; the %s hangs %s.",
		sentenceCase(bothLengths(p.Rig.SpacingCM)), bothLengths(p.Rig.SpacingToleranceCM), number(p.Rig.TippetMM), hanging(p), mount)
	switch p.Rig.WeightAt {
	case "on_line":
		s += " Weight goes on the line, never on one of the flies."
	case "below_flies":
		s += " Weight goes below the flies, never on one of them."
	}
	return s + " Mark the distance on your rod."
}

// hanging names the fly that hangs off the line.
func hanging(p trial.Protocol) string {
	if p.Rig.DropperMount == "bend" {
		return p.LowerWord
	}
	return p.UpperWord
}

// bothLengths writes a length in centimetres and in inches to the half inch; 1 in = 2.54 cm exactly (NIST SP 811).
func bothLengths(cm float64) string {
	return fmt.Sprintf("%s cm (%s in)", number(cm), number(math.Round(2*cm/2.54)/2))
}

// roundRules say how a round is fished, and what holds at the swap.
func roundRules(p trial.Protocol) (round, swapping []string) {
	first := "Open the next slip, in the order of the numbers, when you are ready to rig and not before. It says which fly is the " + p.LowerWord + " first. Rig it so."
	if p.Design == trial.PairedByOuting {
		return []string{
			first,
			"Fish the whole outing so. There is no swap on the water.",
			"At your next outing on the same water fish the other way round. Then the round is done.",
			"Going to another water in between leaves the round: open the next slip there.",
		}, nil
	}
	round = []string{
		first,
		"Fish this way round until the rule says swap: " + swapRule(p.Swap) + ". That was the first half.",
		fmt.Sprintf("Change the two flies over, within %s, and fish the other way round until the rule says swap again. That was the second half; the round is done.", Counted(int64(p.Swap.GraceMinutes), "minute", "minutes")),
		"Open the next slip. What is on the line may stay, where the slip says so.",
	}
	if p.Draw.BlockMaySpan {
		round = append(round, "When the day ends within a round, go on with it at your next outing.")
	} else {
		round = append(round, "When the day ends within a round, or you go to another water, that round is over as it is. Next time open the next slip.")
	}
	swapping = []string{"Fish and minutes are counted anew from each swap. Every landed fish of a species that counts is counted toward it, also one whose fly you are not sure of; a double is two. Lost, touched and foul-hooked fish are not."}
	while := "A fish that comes after “swap now” and before you have swapped"
	switch n := p.Swap.CoolDownCasts; {
	case n == 1:
		while += ", or on the first cast after it,"
	case n > 1:
		while += fmt.Sprintf(", or on the first %d casts after it,", n)
	}
	swapping = append(swapping, while+" is written down as “while swapping”.")
	if p.Swap.By == "spare_cast" {
		swapping = append(swapping, "Have two casts made up, one each way round, and loop the other one on. After each round change the flies between them.")
	}
	return round, swapping
}

// countRules say what is compared, and what is written down beside it.
func countRules(p trial.Protocol) (counts, besides []string) {
	fish := "It is of the species " + orList(p.Species) + ", landed, and hooked fairly, in the mouth."
	if p.MinLengthMM > 0 {
		fish = fmt.Sprintf("It is of the species %s, of at least %s, landed, and hooked fairly, in the mouth.", orList(p.Species), bothLengths(float64(p.MinLengthMM)/10))
	}
	counts = []string{
		fish,
		"You know which of the two flies it took. Look before you unhook it.",
		"Both flies were in the water as the slip had them, none lost, broken or tangled.",
	}
	besides = []string{
		"Not sure which fly: an honest answer, and better than a guess.",
		"Lost at the net or before, touched, foul-hooked; other species; two fish at once (a double); a third fly.",
		"How many fish you did not write down.",
		"The outing without a fish. Blank days count as much as good ones.",
	}
	return counts, besides
}

func stopRules(p trial.Protocol) []string {
	var when []string
	for _, rule := range p.EndRule {
		switch rule {
		case "date":
			when = append(when, "on "+dayOf(p.SeasonEnd))
		case "total_fish":
			when = append(when, fmt.Sprintf("at %s that count, in all", Counted(int64(p.MaxFish), "fish", "fish")))
		}
	}
	ending := strings.Join(when, " or ")
	if len(when) > 1 {
		ending += ", whichever comes first"
	}
	return []string{
		fmt.Sprintf("Fishing begins on %s. The trial ends %s; not when a fly seems ahead.", dayOf(p.SeasonStart), ending),
		"Nobody adds up which fly is ahead before that. Who looks, and then decides whether to go on, finds a difference where there is none.",
		fmt.Sprintf("What would be worth knowing was settled beforehand: that of 100 fish at least %d take %s, with the two ways round balanced.", p.SmallestShare, nameOf(p, trial.Test)),
		fmt.Sprintf("Stop for the day when the water is at %s °C or warmer, at thunder, when the water rises, when you tire.", number(p.Welfare.StopC)),
	}
}

func nameOf(p trial.Protocol, part trial.Part) string {
	for _, pattern := range p.Patterns {
		if pattern.Part == part {
			return pattern.Name
		}
	}
	return ""
}

func dayOf(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return day(t)
}

func orList(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " or " + words[n-1]
	}
}

// sized is the size at which a code fits into the width, at most the largest: a bold sans-serif capital is about 0.7 of it wide.
func sized(text string, width, largest float64) string { return sizedBy(.7, text, width, largest) }

// prose is sized for words, of which a letter is about 0.58 of the size wide on average.
func prose(text string, width, largest float64) string { return sizedBy(.58, text, width, largest) }

func sizedBy(letter float64, text string, width, largest float64) string {
	n := float64(max(utf8.RuneCountInString(text), 1))
	return strconv.FormatFloat(min(largest, math.Floor(10*width/(letter*n))/10), 'f', -1, 64)
}
