package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenrig/service/analysis"
)

// planHeading is the heading of every form of a plan.
const planHeading = "How large must the trial be?"

// hundred is a share or chance as asked for, of 100: 60, 62.5.
func hundred(x float64) string { return strconv.FormatFloat(math.Round(1000*x)/10, 'f', -1, 64) }

// chance is a chance that was worked out, as a whole number of 100.
func chance(x float64) string { return OutOf100(&x) }

// catchOf is a number of fish, to a tenth.
func catchOf(x float64) string { return strconv.FormatFloat(math.Round(10*x)/10, 'f', -1, 64) }

func anglers(n int) string { return Counted(int64(n), "angler", "anglers") }

// teamWords is a team in words.
func teamWords(n int, each float64) string {
	text := fmt.Sprintf("%s landing %s fish", anglers(n), catchOf(each))
	if n > 1 {
		text += " each"
	}
	return text
}

// plannedTeam is the team that a plan recommends: the question's own where it is enough, else more anglers, or for up to
// four anglers more fish each; by played seasons where there are any. Nil where none is large enough.
func plannedTeam(a analysis.SizeAnswer) *analysis.TeamCost {
	q := a.Question
	switch {
	case a.Played == nil && a.Power >= q.Power:
		return ownTeam(a)
	case a.Played == nil && q.Anglers <= analysis.FewAnglers:
		return a.ByFish
	case a.Played == nil:
		return a.ByAnglers
	case q.Anglers <= analysis.FewAnglers && a.EnoughByFish != nil:
		return &a.EnoughByFish.Cost
	case a.EnoughByAnglers != nil:
		return &a.EnoughByAnglers.Cost
	}
	return nil
}

// ownTeam is the question's team, among those that the answer weighs.
func ownTeam(a analysis.SizeAnswer) *analysis.TeamCost {
	for i, t := range a.Teams {
		if t.Anglers == a.Question.Anglers && t.FishEach == a.Question.FishEach {
			return &a.Teams[i].Cost
		}
	}
	return nil
}

// planSentence is the answer in one paragraph.
func planSentence(a analysis.SizeAnswer) string {
	q := a.Question
	var s []string
	say := func(format string, args ...any) { s = append(s, fmt.Sprintf(format, args...)) }

	team := plannedTeam(a)
	own := a.Power
	if a.Played != nil {
		own = a.Played.Settled
	}
	yours := teamWords(q.Anglers, q.FishEach)
	see := fmt.Sprintf("see %s of 100 fish on the changed fly, where 50 would be no difference", hundred(q.SmallestShare))
	switch q.Design {
	case analysis.RoundRobin:
		see = fmt.Sprintf("see one of %d changed flies that takes %s of 100 fish against the usual one, where 50 would be no difference", q.Patterns-1, hundred(q.SmallestShare))
	case analysis.OneFly:
		see = fmt.Sprintf("see %s of 100 fish caught in equal time on the changed fly (%s times as many an hour), where 50 would be no difference", hundred(q.SmallestShare),
			Number(new(q.SmallestShare/(1-q.SmallestShare)), 2))
	}
	switch {
	case team != nil && team.Anglers == q.Anglers && team.FishEach == q.FishEach:
		say("To %s, %s are enough, in %s; about %s of the fish will count. They would see it in %s of 100 seasons.", see, yours,
			Counted(int64(team.Outings), "outing", "outings"), Count(int64(team.Fish)), chance(own))
		return strings.Join(s, " ")
	case team != nil:
		say("To %s, in %s of 100 seasons, it takes about %s, in %s; about %s of the fish will count.", see, hundred(q.Power), teamWords(team.Anglers, team.FishEach),
			Counted(int64(team.Outings), "outing", "outings"), Count(int64(team.Fish)))
		say("%s would see it in %s.", sentenceCase(yours), chance(own))
	default:
		say("To %s, in %s of 100 seasons, no team of a size that was looked at is enough.", see, hundred(q.Power))
		say("%s would see it in %s.", sentenceCase(yours), chance(own))
	}
	more := a.ByFish
	if a.Played != nil {
		more = nil
		if a.EnoughByFish != nil {
			more = &a.EnoughByFish.Cost
		}
	}
	switch {
	case team != nil && team.Anglers == q.Anglers:
	case a.ByFish == nil:
		say("More fish by the same anglers would never be enough, because anglers differ: only more anglers help.")
	case more != nil:
		say("The same anglers would need about %s fish each.", catchOf(more.FishEach))
	default:
		say("More fish by the same anglers help little.")
	}
	return strings.Join(s, " ")
}

// twice says what twice the fish and twice the anglers would bring.
func twice(a analysis.SizeAnswer) string {
	q := a.Question
	var fish, people *float64
	for i, t := range a.Teams {
		switch {
		case t.Anglers == q.Anglers && t.FishEach == math.Round(2*q.FishEach):
			fish = &a.Teams[i].Power
		case t.Anglers == 2*q.Anglers && t.FishEach == q.FishEach:
			people = &a.Teams[i].Power
		}
	}
	if fish == nil || people == nil || q.Anglers <= analysis.FewAnglers || q.Stopping == analysis.StopAnytime {
		return ""
	}
	return fmt.Sprintf("By the formula your team sees it in %s of 100 seasons; twice the fish by the same anglers would make that %s, twice the anglers with as many fish each %s.",
		chance(a.Power), OutOf100(fish), OutOf100(people))
}

// planMore is what else the secretary asks: what can be seen, what a smaller difference costs, what planned counts do.
func planMore(a analysis.SizeAnswer) []string {
	q := a.Question
	var list []string
	say := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	if text := twice(a); text != "" {
		say("%s", text)
	}
	if a.Detectable != nil && q.Stopping != analysis.StopAnytime {
		say("What you can see with what you have, in %s of 100 seasons: %s of 100 or more (or its mirror, %s of 100 or fewer), by the formula.", hundred(q.Power),
			OutOf100(a.Detectable), chance(1-*a.Detectable))
	}
	if text := price(a); text != "" {
		say("%s", text)
	}
	say("If the flies are alike, %s of 100 trials would still say that they are not: that is the chance of a false alarm which was asked for%s.", hundred(q.Alpha), playedAlarm(a))
	if a.Thumb.FalseAlarm > q.Alpha && q.Patterns == 2 {
		say("The rule of the bank that %d of 100 fish make a fly the better, which with %s fish that count is %s or more on one of them, would call one of two alike flies the better in %s of 100 trials.", a.Thumb.Percent,
			Count(int64(a.Thumb.Fish)), Count(int64(a.Thumb.Least)), chance(a.Thumb.FalseAlarm))
	}
	switch {
	case q.Stopping == analysis.StopAtLooks && a.Played != nil:
		say("With %d planned counts %s of 100 seasons end early, and a season takes %s analysed fish on average; the largest is %s %% larger than with one count.", q.Looks,
			chance(a.Played.Early), Count(int64(math.Round(a.Played.Analysed))), hundred(a.Inflation-1))
	case q.Stopping == analysis.StopAtLooks:
		say("With %d planned counts the largest trial is %s %% larger than with one count.", q.Looks, hundred(a.Inflation-1))
	case q.Stopping == analysis.StopAnytime && a.Played != nil:
		say("With the evidence weighed after every round %s of 100 seasons end early, and a season takes %s analysed fish on average.", chance(a.Played.Early),
			Count(int64(math.Round(a.Played.Analysed))))
	}
	if a.PowerExact != nil {
		say("One angler's chance, every possible count of fish weighed: %s of 100.", OutOf100(a.PowerExact))
	}
	return list
}

// price says what the smallest share of the table would cost in place of the one asked for.
func price(a analysis.SizeAnswer) string {
	smaller := a.Shares[0]
	for _, s := range a.Shares {
		if s.Share != a.Question.SmallestShare || s.Share == smaller.Share {
			continue
		}
		what, least, most := "fish", s.Alike, smaller.Alike
		if a.Question.Anglers > analysis.FewAnglers {
			if s.Team == nil || smaller.Team == nil {
				return ""
			}
			what, least, most = "anglers", s.Team.Anglers, smaller.Team.Anglers
		}
		return fmt.Sprintf("Looking for %s of 100 instead of %s would take %s times as many %s: %s instead of %s, by the formula.", hundred(smaller.Share), hundred(s.Share),
			Number(new(float64(most)/float64(least)), 1), what, Count(int64(most)), Count(int64(least)))
	}
	return ""
}

func playedAlarm(a analysis.SizeAnswer) string {
	if a.NoEffect == nil {
		return ""
	}
	return fmt.Sprintf("; in the seasons played it came to %s", within(a.NoEffect.Settled, a.NoEffect.StdErr))
}

// within is a simulated chance of 100 with twice its Monte Carlo standard error.
func within(share, stdErr float64) string {
	return fmt.Sprintf("%s ± %s", Number(new(100*share), 1), Number(new(200*stdErr), 1))
}

// plannedSwap is a swap rule in words.
func plannedSwap(r analysis.SwapRule) string {
	var text string
	switch {
	case r.AfterFish != nil && r.AfterMinutes != nil:
		text = fmt.Sprintf("after %s or %d minutes", Counted(int64(*r.AfterFish), "fish", "fish"), *r.AfterMinutes)
	case r.AfterFish != nil:
		text = "after " + Counted(int64(*r.AfterFish), "fish", "fish")
	case r.AfterMinutes != nil:
		text = fmt.Sprintf("after %d minutes", *r.AfterMinutes)
	default:
		return "one way round for a whole outing"
	}
	if r.BlockMaySpan {
		text += ", going on at the next outing"
	}
	return text
}

// planGranted is what a plan takes for granted, in words.
func planGranted(a analysis.SizeAnswer) []fact {
	q := a.Question
	lower := fact{"Lower fly, the two alike", "takes " + hundred(q.LowerShare) + " of 100; anglers differ in it: " + spreadOfAnglers(q.LowerShare, q.SDPosition)}
	flies := fact{"Flies on the line", "the changed and the usual one"}
	switch q.Design {
	case analysis.OneFly:
		flies.Value = "one at a time, changed by the clock"
		lower.Value = "there is no position to take out"
	case analysis.RoundRobin:
		flies.Value = fmt.Sprintf("two of %d, another pair each outing; the false alarms are those of all flies together", q.Patterns)
	}
	return []fact{
		{"Smallest share worth knowing", hundred(q.SmallestShare) + " of 100 fish on the changed fly (or " + hundred(1-q.SmallestShare) + ")"},
		{"False alarms, chance to see it", hundred(q.Alpha) + " of 100, " + hundred(q.Power) + " of 100"},
		{"Anglers differ in the fly's effect", spreadOfAnglers(q.SmallestShare, q.SDPattern)},
		flies, lower,
		{"Days differ in the fly's effect", spreadOfDays(q)},
		{"An outing", fmt.Sprintf("%s fish on average, between %s and %s on about two of three; %s hours", catchOf(q.FishPerOuting),
			catchOf(math.Max(0, math.Round(q.FishPerOuting-catchSD(q)))), catchOf(math.Round(q.FishPerOuting+catchSD(q))), catchOf(q.OutingMinutes/60))},
		{"The swap", plannedSwap(q.Swap)},
		{"What gets lost", fmt.Sprintf("%s of 100 anglers stop on the way, half-way on average; of %s of 100 fish the fly is not known", hundred(q.Dropout), hundred(q.NotSure))},
		{"Counting", counting(q)},
	}
}

func catchSD(q analysis.SizeQuestion) float64 {
	return math.Sqrt(q.FishPerOuting + q.Clumping*q.FishPerOuting*q.FishPerOuting)
}

// spreadOfAnglers says an SD of log odds about a share by where two anglers of three lie.
func spreadOfAnglers(share, sd float64) string {
	if sd == 0 {
		return "not at all"
	}
	center := math.Log(share / (1 - share))
	low, high := center-sd, center+sd
	return "two anglers of three lie between " + OutOf100(expit(&low)) + " and " + OutOf100(expit(&high)) + " of 100"
}

func spreadOfDays(q analysis.SizeQuestion) string {
	if q.SDOuting == 0 {
		return "not at all"
	}
	return strings.Replace(spreadOfAnglers(q.SmallestShare, q.SDOuting), "anglers", "days", 1)
}

func counting(q analysis.SizeQuestion) string {
	switch q.Stopping {
	case analysis.StopAtLooks:
		return fmt.Sprintf("%d planned counts, the last at the end (%s)", q.Looks, map[string]string{
			"obrien_fleming": "very strict early on, O'Brien and Fleming's way", "pocock": "about as strict each time, Pocock's way",
		}[q.Spending])
	case analysis.StopAnytime:
		return "the evidence weighed after every finished round, the draw a coin for each round"
	default:
		return "once, at the end"
	}
}

// planFormula says what the numbers worked out rest on, and what the played seasons add.
func planFormula(a analysis.SizeAnswer) []string {
	list := []string{
		fmt.Sprintf("Worked out: of the fish landed as planned %s of 100 are expected to count. The answer's standard error is √(τ²/K + 1/(K·m·p(1−p))), τ being how much anglers differ, "+
			"K anglers, m counting fish each and p the share of the lower fly (½ with one fly at a time); the chance is that of Student's noncentral t on K−1 degrees of freedom. "+
			"If all anglers were alike %s analysed fish would do.", hundred(a.Kept), Count(int64(a.Fish))),
	}
	if q := a.Question; q.Design == analysis.RoundRobin {
		list = append(list, fmt.Sprintf("With %d flies a fish counts 1/%d of one in a trial of two, and each changed fly has a false alarm of %s of 100 : %d.", q.Patterns, q.Patterns-1, hundred(q.Alpha), q.Patterns-1))
	}
	if a.Played != nil {
		list = append(list, fmt.Sprintf("Played: %s seasons by chance, with clumped catches, unequal effort, anglers who stop, fish not sure and rounds left unfinished, each analysed as the trial "+
			"would be (model of all fish, by Laplace approximation, t on K−1; up to %d anglers exactly). Random start %d. The ± is twice the error of playing so many; "+
			"where played and worked out differ, believe the played.", Count(int64(a.Played.Seasons)), analysis.FewAnglers, a.Question.Seed))
	}
	return list
}

// playedRow is one line of the table of seasons.
type playedRow struct{ What, Share, Alike string }

func playedRows(a analysis.SizeAnswer) []playedRow {
	if a.Played == nil || a.NoEffect == nil {
		return nil
	}
	p, n := *a.Played, *a.NoEffect
	notSettled := func(s analysis.PlayedSeasons) string { return Number(new(100*(1-s.Settled-s.WrongSide-s.NoAnswer)), 1) }
	each := func(what string, of func(analysis.PlayedSeasons) float64, decimals int) playedRow {
		x, y := of(p), of(n)
		return playedRow{what, Number(&x, decimals), Number(&y, decimals)}
	}
	rows := []playedRow{
		{"say that one fly takes more", within(p.Settled, p.StdErr), within(n.Settled, n.StdErr)},
		{"say so of the wrong fly", Number(new(100*p.WrongSide), 1), Missing},
		{"not settled", notSettled(p), notSettled(n)},
		each("no method gives an answer", func(s analysis.PlayedSeasons) float64 { return 100 * s.NoAnswer }, 1),
	}
	if a.Question.Stopping != analysis.StopAtEnd {
		rows = append(rows, each("end early", func(s analysis.PlayedSeasons) float64 { return 100 * s.Early }, 1))
	}
	return append(rows,
		each("fish landed, on average", func(s analysis.PlayedSeasons) float64 { return s.Landed }, 0),
		each("fish analysed", func(s analysis.PlayedSeasons) float64 { return s.Analysed }, 0),
		each("anglers with a fish", func(s analysis.PlayedSeasons) float64 { return s.Anglers }, 1),
		each("outings", func(s analysis.PlayedSeasons) float64 { return s.Outings }, 0))
}
