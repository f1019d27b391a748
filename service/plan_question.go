package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"evenrig/service/analysis"
	"evenrig/stats/power"
)

// question is the usual one, changed by the file and then by the flags.
func (c *planCommand) question(stdin io.Reader) (analysis.SizeQuestion, error) {
	q := analysis.UsualSize()
	if c.Question != "" {
		if err := c.read(stdin, &q); err != nil {
			return q, err
		}
	}
	for flag, of100 := range map[*float64]*float64{
		c.Share: &q.SmallestShare, c.Chance: &q.Power, c.FalseAlarms: &q.Alpha, c.Lower: &q.LowerShare, c.Dropout: &q.Dropout, c.NotSure: &q.NotSure,
	} {
		if flag != nil {
			*of100 = *flag / 100
		}
	}
	if c.Flies != nil {
		if q.Patterns = *c.Flies; q.Patterns != 2 {
			q.Design = analysis.RoundRobin
		}
	}
	set(&q.Anglers, c.Anglers)
	set(&q.FishEach, c.Fish)
	set(&q.FishPerOuting, c.PerOuting)
	set(&q.SDPattern, c.Differ)
	set(&q.Seasons, c.Seasons)
	if c.Hours != nil {
		q.OutingMinutes = 60 * *c.Hours
	}
	if q.Anglers == 1 && c.Dropout == nil && c.Question == "" {
		q.Dropout = 0 // a trial of one's own ends with its angler
	}
	if c.ByOuting && c.OneFly || q.Design == analysis.RoundRobin && (c.ByOuting || c.OneFly) {
		return q, usageError{errors.New("more than one of --by-outing, --one-fly and --flies above 2 was given; accepted: one of them, or none for two flies swapped within the outing")}
	}
	c.setSwap(&q)
	if c.Looks != 0 {
		q.Stopping, q.Looks = analysis.StopAtLooks, c.Looks
		if q.Spending == "" {
			q.Spending = power.SpendOBrienFleming
		}
	}
	if c.Anytime {
		if c.Looks != 0 {
			return q, usageError{errors.New("--looks and --anytime were both given; accepted: one of them, or none for one count at the end")}
		}
		q.Stopping, q.Looks, q.Spending = analysis.StopAnytime, 0, ""
	}
	return q, nil
}

func set[T any](value, flag *T) {
	if flag != nil {
		*value = *flag
	}
}

// setSwap takes the flags of the swap rule: 0 leaves out a part of it, --by-outing all.
func (c *planCommand) setSwap(q *analysis.SizeQuestion) {
	switch {
	case c.ByOuting:
		q.Design, q.Swap = analysis.ByOuting, analysis.SwapRule{}
	case c.OneFly:
		q.Design, q.Swap.AfterFish = analysis.OneFly, nil
	}
	for into, flag := range map[**int]*int{&q.Swap.AfterFish: c.SwapFish, &q.Swap.AfterMinutes: c.SwapMinutes} {
		switch {
		case flag == nil:
		case *flag == 0:
			*into = nil
		default:
			*into = flag
		}
	}
	if c.Span {
		q.Swap.BlockMaySpan = true
	}
}

// read reads a question from the file; what it leaves out keeps its usual value.
func (c *planCommand) read(stdin io.Reader, q *analysis.SizeQuestion) error {
	source, name := stdin, "standard input"
	if c.Question != "-" {
		file, err := os.Open(c.Question)
		if err != nil {
			return fmt.Errorf("the question cannot be opened: %w", err)
		}
		defer file.Close()
		source, name = file, c.Question
	}
	in := json.NewDecoder(source)
	in.DisallowUnknownFields()
	if err := in.Decode(q); err != nil {
		return fmt.Errorf("%s: this is no question in JSON: %w; `evenrig plan --format json` shows one under question", name, err)
	}
	return nil
}

// asked are the flags behind a question's fields, by which faults are told; of100 ones are shares there.
var asked = map[string]struct {
	flag  string
	times float64
}{
	"smallest_share": {"--share", 100}, "power": {"--chance", 100}, "alpha": {"--false-alarms", 100}, "lower_share": {"--lower", 100},
	"patterns": {"--flies", 1}, "anglers": {"--anglers", 1}, "fish_each": {"--fish", 1}, "fish_per_outing": {"--per-outing", 1}, "outing_minutes": {"--hours", 1. / 60},
	"sd_pattern": {"--differ", 1}, "swap.after_fish": {"--swap-fish", 1}, "swap.after_minutes": {"--swap-minutes", 1}, "swap.block_may_span_outings": {"--span", 1},
	"swap":    {"--swap-fish, --swap-minutes", 1},
	"dropout": {"--dropout", 100}, "not_sure": {"--not-sure", 100}, "looks": {"--looks", 1}, "seasons": {"--seasons", 1},
}

// planFault is an error of the command line that names the flags at fault, in the units in which they are given.
func planFault(err error) error {
	var faults power.Faults
	if !errors.As(err, &faults) {
		return err
	}
	parts := make([]string, len(faults))
	for i, f := range faults {
		a, ok := asked[f.Field]
		switch {
		case !ok:
			parts[i] = f.Field + " " + f.Detail
		case f.Range != nil:
			number := func(x float64) string { return strconv.FormatFloat(x*a.times, 'g', 6, 64) }
			parts[i] = fmt.Sprintf("%s is %s; accepted: %s to %s", a.flag, number(f.Range.Value), number(f.Range.Low), number(f.Range.High))
		default:
			parts[i] = a.flag + " " + f.Detail
		}
	}
	return usageError{errors.New(strings.Join(parts, "; "))}
}
