package exchange

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// The words that taken_pattern may hold in place of a pattern's code.
const (
	unknownPattern = string(trial.UnknownPosition)
	otherPattern   = string(trial.OtherPosition)
)

func isPatternWord(code string) bool { return code == unknownPattern || code == otherPattern }

func (o ReadOptions) check() error {
	for _, name := range []struct{ part, code string }{{"test", o.Test}, {"control", o.Control}} {
		if isPatternWord(name.code) {
			return trial.Fail(trial.Invalid, "table.patterns", "the %s pattern cannot have the code %q, which means something else in a catch table", name.part, name.code)
		}
	}
	switch o.Test {
	case "":
		return trial.Fail(trial.Invalid, "table.patterns", "the code of the test pattern is missing")
	case o.Control:
		return trial.Fail(trial.Invalid, "table.patterns", "test and control pattern have the same code %q", o.Test)
	}
	return nil
}

// codeCounts counts the rows in which each pattern code stands: of those that it began with and of the first others up to mostCodes, so that
// no file can fill the memory with them.
type codeCounts map[string]int

const mostCodes = 1000

func (c codeCounts) add(row Row) {
	for i, code := range [2]string{row.LowerPattern, row.TakenPattern} {
		if code == "" || isPatternWord(code) || (i == 1 && code == row.LowerPattern) {
			continue
		}
		if _, known := c[code]; known || len(c) < mostCodes {
			c[code]++
		}
	}
}

// found lists the codes, the most frequent first.
func (c codeCounts) found() []string {
	codes := slices.SortedFunc(maps.Keys(c), func(a, b string) int { return cmp.Or(cmp.Compare(c[b], c[a]), strings.Compare(a, b)) })
	return slices.DeleteFunc(codes, func(code string) bool { return c[code] == 0 })
}

// control returns the code of the control pattern: as named, else the one code in the rows beside the test pattern's.
// The error says which codes were found.
func (o ReadOptions) control(codes codeCounts) (string, error) {
	found := codes.found()
	switch {
	case len(found) == 0 && o.Control == "":
		return "", trial.Fail(trial.Invalid, "table.patterns", "the table holds no pattern code in %s or %s", colLowerPattern, colTakenPattern)
	case o.Control != "" && (len(found) == 0 || slices.Contains(found, o.Test) || slices.Contains(found, o.Control)):
		return o.Control, nil
	case !slices.Contains(found, o.Test):
		return "", trial.Fail(trial.Invalid, "table.patterns", "the table has no pattern %q; it has %s", o.Test, listCodes(found, codes))
	case len(found) == 1:
		return "", controlUnknown("the table holds one pattern code only, %s: name the control pattern's too", listCodes(found, codes))
	case len(found) > 2:
		return "", controlUnknown("the table holds %d pattern codes, %s; accepted: two (name the control pattern to see the rows that have another)", len(found), listCodes(found, codes))
	case found[0] == o.Test:
		return found[1], nil
	}
	return found[0], nil
}

func controlUnknown(format string, args ...any) error {
	return &trial.Error{Kind: trial.Invalid, Code: "table.patterns", Detail: fmt.Sprintf(format, args...), Err: ErrControlUnknown}
}

// listCodes says the codes with their number of rows, the most frequent first, at most ten.
func listCodes(codes []string, counts codeCounts) string {
	parts := make([]string, 0, 10)
	for _, code := range codes[:min(len(codes), 10)] {
		rows := "rows"
		if counts[code] == 1 {
			rows = "row"
		}
		parts = append(parts, fmt.Sprintf("%q (%d %s)", shorten(code), counts[code], rows))
	}
	if len(codes) > 10 {
		parts = append(parts, fmt.Sprintf("and %d more", len(codes)-10))
	}
	return strings.Join(parts, ", ")
}

// resolve checks the three columns that say what was taken and fills in what follows from the others. It returns the
// fault, or nil.
func (t Table) resolve(r *Row) *RowFault {
	fault := func(column, value, format string, args ...any) *RowFault {
		return &RowFault{Line: r.Line, Column: column, Value: value, Reason: fmt.Sprintf(format, args...)}
	}
	if r.LowerPattern != "" && r.LowerPattern != t.Test && r.LowerPattern != t.Control {
		return fault(colLowerPattern, r.LowerPattern, "accepted: %s, %s", t.Test, t.Control)
	}
	if r.TakenPattern != "" && !isPatternWord(r.TakenPattern) && r.TakenPattern != t.Test && r.TakenPattern != t.Control {
		return fault(colTakenPattern, r.TakenPattern, "accepted: %s, %s, unknown, other", t.Test, t.Control)
	}
	given := 0
	for _, value := range []string{r.LowerPattern, string(r.TakenPosition), r.TakenPattern} {
		if value != "" {
			given++
		}
	}
	if given < 2 {
		return fault("", "", "needs any two of %s, %s, %s", colLowerPattern, colTakenPosition, colTakenPattern)
	}
	position, pattern := r.TakenPosition, r.TakenPattern
	placed := position == trial.Lower || position == trial.Upper
	named := pattern != "" && !isPatternWord(pattern)
	switch {
	case position == trial.OtherPosition && named, pattern == otherPattern && placed:
		return fault(colTakenPattern, pattern, "disagrees with %s %s: a third fly is %s in both", colTakenPosition, position, otherPattern)
	case position == trial.OtherPosition || pattern == otherPattern:
		r.TakenPosition, r.TakenPattern = trial.OtherPosition, otherPattern
	case placed && named:
		lower := pattern
		if position == trial.Upper {
			lower = t.other(pattern)
		}
		if r.LowerPattern == "" {
			r.LowerPattern = lower
		} else if r.LowerPattern != lower {
			return fault(colTakenPattern, pattern, "disagrees with %s %s and %s %s", colLowerPattern, r.LowerPattern, colTakenPosition, position)
		}
	case placed && r.LowerPattern != "":
		r.TakenPattern = r.LowerPattern
		if position == trial.Upper {
			r.TakenPattern = t.other(r.LowerPattern)
		}
	case named && r.LowerPattern != "":
		r.TakenPosition = trial.Upper
		if pattern == r.LowerPattern {
			r.TakenPosition = trial.Lower
		}
	case r.LowerPattern != "":
		r.TakenPosition, r.TakenPattern = trial.UnknownPosition, unknownPattern
	}
	return nil
}

func (t Table) other(code string) string {
	if code == t.Test {
		return t.Control
	}
	return t.Test
}
