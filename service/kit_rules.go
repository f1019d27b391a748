package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"unicode/utf8"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// kitRules are the rule sheet, the anglers' names and how many rounds each has slips for.
type kitRules struct {
	protocol trial.Protocol
	anglers  []string
	rounds   int
}

const usualRounds = 24

// rules are the usual ones, changed by the rule sheet, then by the plan and then by the flags.
func (c *kitCommand) rules() (kitRules, error) {
	r := kitRules{protocol: trial.Template(), anglers: c.Angler, rounds: usualRounds}
	if c.Rules != "" {
		var p trial.Protocol // what the rule sheet leaves out is a fault, not the usual value
		if err := readJSON(c.Rules, &p, true); err != nil {
			return r, fmt.Errorf("%s: this is no rule sheet in JSON: %w", c.Rules, err)
		}
		r.protocol = p
	}
	if c.Plan != "" {
		var plan struct {
			Question *analysis.SizeQuestion `json:"question"`
		}
		if err := readJSON(c.Plan, &plan, false); err != nil {
			return r, fmt.Errorf("%s: this is no plan in JSON: %w; `evenrig plan --out FOLDER` writes one", c.Plan, err)
		}
		if plan.Question == nil {
			return r, fmt.Errorf("%s: this is no plan: it has no question; `evenrig plan --out FOLDER` writes one", c.Plan)
		}
		if err := r.follow(*plan.Question); err != nil {
			return r, err
		}
	}
	if len(r.anglers) == 0 {
		r.anglers = []string{"me"}
	}
	if c.Plan != "" || c.Rules == "" {
		r.protocol.MinAnglers = min(len(r.anglers), r.protocol.MinAnglers)
	}
	if err := c.flags(&r.protocol); err != nil {
		return r, err
	}
	set(&r.rounds, c.Rounds)
	return r, nil
}

// follow takes what a plan was made for into the rules.
func (r *kitRules) follow(q analysis.SizeQuestion) error {
	p := &r.protocol
	if q.Design == analysis.OneFly {
		return errors.New("the plan is of one fly at a time; a kit's slips are for two on one line")
	}
	percent := 100 * q.SmallestShare
	if math.Abs(percent-math.Round(percent)) > 1e-6 {
		return usageError{fmt.Errorf("the plan's smallest share is %s of 100; a rule sheet takes a whole number of fish: plan with one, or give --share", strconv.FormatFloat(percent, 'g', 6, 64))}
	}
	p.SmallestShare, p.Alpha, p.Power = int(math.Round(percent)), q.Alpha, q.Power
	p.Design, p.Stopping = trial.Design(q.Design), trial.Stopping(q.Stopping)
	p.Swap.AfterFish, p.Swap.AfterMinutes, p.Draw.BlockMaySpan = q.Swap.AfterFish, q.Swap.AfterMinutes, q.Swap.BlockMaySpan
	if len(r.anglers) == 0 && q.Anglers > 1 {
		for i := range q.Anglers {
			r.anglers = append(r.anglers, "Angler "+strconv.Itoa(i+1))
		}
	}
	p.MaxFish = int(math.Ceil(float64(max(q.Anglers, 1)) * q.FishEach))
	r.rounds = roundsFor(q)
	return nil
}

// roundsFor is how many slips an angler needs who catches half as many fish again as planned. A half ends with its fish or with
// its minutes, so that an outing has at most as many halves as fish and clock could end, and one more.
func roundsFor(q analysis.SizeQuestion) int {
	outings := math.Ceil(1.5 * q.FishEach / q.FishPerOuting)
	halves := 1.
	if fish := q.Swap.AfterFish; fish != nil {
		halves += q.FishPerOuting / float64(*fish)
	}
	if minutes := q.Swap.AfterMinutes; minutes != nil {
		halves += q.OutingMinutes / float64(*minutes)
	}
	return int(math.Ceil(outings * halves / 2))
}

// flags change the rules by what was given.
func (c *kitCommand) flags(p *trial.Protocol) error {
	for field, flag := range map[*string]string{
		&p.FeatureChanged: c.Feature, &p.SeasonStart: c.From, &p.SeasonEnd: c.To, &p.Rig.HookModel: c.Hook, &p.Rig.HookSize: c.HookSize, &p.Rig.Barb: c.Barb,
		&p.LowerWord: c.LowerWord, &p.UpperWord: c.UpperWord, &p.Welfare.LocalRules: c.LocalRules, &p.Welfare.ReportLine: c.ReportLine,
	} {
		if flag != "" {
			*field = flag
		}
	}
	set(&p.MinLengthMM, c.MinLength)
	set(&p.Rig.TippetMM, c.Tippet)
	set(&p.Rig.SpacingCM, c.Spacing)
	set(&p.SmallestShare, c.Share)
	set(&p.MaxFish, c.Fish)
	if c.FalseAlarms != nil {
		p.Alpha = *c.FalseAlarms / 100
	}
	if c.ByOuting {
		p.Design, p.Swap.AfterFish, p.Swap.AfterMinutes = trial.PairedByOuting, nil, nil
	}
	for into, flag := range map[**int]*int{&p.Swap.AfterFish: c.SwapFish, &p.Swap.AfterMinutes: c.SwapMinutes} {
		switch {
		case flag == nil:
		case *flag == 0:
			*into = nil
		default:
			*into = flag
		}
	}
	p.Draw.BlockMaySpan = p.Draw.BlockMaySpan || c.Span
	if err := c.where(p); err != nil {
		return err
	}
	c.patterns(p)
	return nil
}

// where takes the species and the waters. Grayling are cautioned at 15 degrees C already (see trial.Template).
func (c *kitCommand) where(p *trial.Protocol) error {
	if len(c.Species) > 0 {
		p.Species = c.Species
	}
	if c.Rules == "" {
		for _, s := range p.Species {
			if strings.HasPrefix(s, "Thymallus ") {
				p.Welfare.CautionC = 15
				p.Welfare.Cautions = trial.Cautions(p.Welfare.CautionC, p.Welfare.StopC)
			}
		}
	}
	if len(c.Water) > 0 {
		p.Waters = []trial.Water{}
	}
	for _, water := range c.Water {
		i := strings.LastIndex(water, "=")
		if i < 0 {
			return usageError{fmt.Errorf("--water is %q; accepted: its name, = and its kind, like \"Mill Reach=river\"", water)}
		}
		p.Waters = append(p.Waters, trial.Water{Name: strings.TrimSpace(water[:i]), WaterType: strings.TrimSpace(water[i+1:])})
	}
	return nil
}

// patterns names the two flies, the changed one first, and makes title and question of the names where none were given.
func (c *kitCommand) patterns(p *trial.Protocol) {
	usual := map[trial.Part]trial.Pattern{trial.Test: {Code: "C", Name: "changed fly"}, trial.Control: {Code: "U", Name: "usual fly"}}
	given := map[trial.Part]trial.Pattern{trial.Test: {Code: c.ChangedCode, Name: c.Changed}, trial.Control: {Code: c.UsualCode, Name: c.Usual}}
	name := map[trial.Part]string{}
	for i := range p.Patterns {
		pattern := &p.Patterns[i]
		pattern.Code = cmp.Or(given[pattern.Part].Code, pattern.Code, usual[pattern.Part].Code)
		pattern.Name = cmp.Or(given[pattern.Part].Name, pattern.Name, usual[pattern.Part].Name)
		name[pattern.Part] = pattern.Name
	}
	if p.Title == "" {
		p.Title = name[trial.Test] + " against " + name[trial.Control]
		if utf8.RuneCountInString(p.Title) > 120 {
			p.Title = p.Code(trial.Test) + " against " + p.Code(trial.Control)
		}
	}
	p.Question = cmp.Or(c.Question, p.Question)
	if p.Question == "" && p.FeatureChanged != "" {
		p.Question = fmt.Sprintf("Does %s change the share of fish that take the %s rather than the %s, when both swim on one line?", p.FeatureChanged, name[trial.Test], name[trial.Control])
	}
}

// readJSON reads a file; strictly refuses fields that are not known.
func readJSON(path string, into any, strictly bool) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	in := json.NewDecoder(io.LimitReader(file, 16<<20))
	if strictly {
		in.DisallowUnknownFields()
	}
	return in.Decode(into)
}
