package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// fact is one line of how the trial was set up.
type fact struct{ What, Value string }

// facts are what somebody needs who wants to repeat the trial: flies, rig, rule of swapping, species, kinds of water.
func facts(r analysis.Result, about About, n names) []fact {
	list := []fact{{"Design", DesignName(r.Design)}}
	p := about.Protocol
	if p == nil {
		return append(list, fact{"Lower fly, upper fly", n.Lower + ", " + n.Upper})
	}
	add := func(what, value string) {
		if value != "" {
			list = append(list, fact{what, value})
		}
	}
	add("The one feature changed", p.FeatureChanged)
	for _, pattern := range p.Patterns {
		what := "Usual fly"
		if pattern.Part == trial.Test {
			what = "Changed fly"
		}
		add(what, described(pattern))
	}
	for _, f := range about.Flies {
		pack := joined(tiedInWords(f.TiedBy), f.Hook, inspectedInWords(f.Inspected))
		if f.Issued+f.Lost+f.Retied > 0 {
			pack = joined(pack, fmt.Sprintf("%s handed out, %s lost, %s tied anew at the water", Count(f.Issued), Count(f.Lost), Count(f.Retied)))
		}
		add("Flies, "+cmp.Or(f.Batch, "a batch"), pack)
	}
	add("Lower fly, upper fly", n.Lower+", "+n.Upper)
	add("Between the flies", centimetres(p.Rig.SpacingCM)+", give or take "+centimetres(p.Rig.SpacingToleranceCM))
	add("Hook", joined(p.Rig.HookModel, p.Rig.HookSize, p.Rig.Barb))
	if p.Rig.TippetMM > 0 {
		add("Tippet", number(p.Rig.TippetMM)+" mm for both")
	}
	add("Presentation", spaced(p.Rig.Presentation))
	add("Swap", swapRule(p.Swap))
	add("Species counted", strings.Join(p.Species, ", "))
	if p.MinLengthMM > 0 {
		add("Length at least", strconv.Itoa(p.MinLengthMM)+" mm")
	}
	add("Kinds of water", strings.Join(waterTypes(p.Waters), ", "))
	return list
}

// settings are what the analysis ran with, in words.
func settings(r analysis.Result) []fact {
	u := r.Settings
	worth, mirrored := u.SmallestShare, 1-u.SmallestShare
	list := []fact{{"Intervals", levelOf(r)}}
	if worth > .5 && worth < 1 {
		list = append(list, fact{"Worth knowing", OutOf100(&worth) + " of 100 or more, " + OutOf100(&mirrored) + " or fewer"})
	}
	if m := r.MixedModel; m != nil && m.Status == analysis.Converged {
		list = append(list, fact{"In the model of all fish", VaryName(m.Vary) + "; " + integration(m.Points)})
	}
	if u.Correlated {
		list = append(list, fact{"Leanings to pattern and to position", "may go together"})
	}
	if m := r.Monitoring; m != nil {
		list = append(list, fact{"The result", StoppingName(m.Rule)})
	}
	if r.Randomisation != nil && r.Randomisation.Draws > 0 {
		list = append(list, fact{"Chance in the re-drawn orders", "starts from the fingerprint of the counts, so that the same fish give the same p"})
	}
	return list
}

func tiedInWords(who string) string {
	if who == "" {
		return ""
	}
	return "tied by " + who
}

func inspectedInWords(who string) string {
	if who == "" {
		return "looked over by nobody else"
	}
	return "looked over by " + who
}

func described(p trial.Pattern) string {
	s := joined(p.Name, p.Shape, p.Colour)
	if p.Code == "" || s == p.Code {
		return s
	}
	if s == "" {
		return "code " + p.Code
	}
	return s + " (code " + p.Code + ")"
}

func swapRule(s trial.Swap) string {
	var after []string
	if s.AfterFish != nil {
		after = append(after, "after "+Counted(int64(*s.AfterFish), "fish", "fish"))
	}
	if s.AfterMinutes != nil {
		after = append(after, "after "+Counted(int64(*s.AfterMinutes), "minute", "minutes"))
	}
	switch len(after) {
	case 0:
		return "with the next outing"
	case 1:
		return after[0]
	default:
		return strings.Join(after, " or ") + ", whichever comes first"
	}
}

// waterTypes lists each kind of water once, in the order of the protocol; waters' names stay out of reports.
func waterTypes(waters []trial.Water) []string {
	var kinds []string
	for _, w := range waters {
		if kind := spaced(w.WaterType); kind != "" && !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
	}
	return kinds
}

func joined(parts ...string) string {
	kept := make([]string, 0, len(parts))
	for _, part := range parts {
		if part != "" {
			kept = append(kept, spaced(part))
		}
	}
	return strings.Join(kept, ", ")
}

func centimetres(x float64) string { return number(x) + " cm" }

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
