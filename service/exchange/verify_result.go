package exchange

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html"
	"maps"
	"math"
	"slices"
	"strings"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// count is all that an angler's rows are to the analysis.
func (v *verifier) count(a publishedAngler) {
	a.addTo(&v.input, v.plan, v.Package)
}

// result computes the result from the rows and holds it against result.json.
func (v *verifier) result() error {
	said, err := analysis.Decode(v.Package.Result)
	if err != nil {
		v.found.differs(partResult, "%s cannot be read: %v", fileResult, err)
		return nil
	}
	in := analysis.InputOf(v.plan)
	in.Tallies, in.Draw, in.NotLogged, in.Left, in.Effort = v.input.Tallies, v.input.Draw, v.input.NotLogged, v.input.Left, v.input.Effort
	if in.Effort, err = v.flowWith(in.Effort); err != nil {
		return err
	}
	if v.plan.Source == trial.Drawn {
		in.Plan = v.lookPlan(v.plan)
	}
	if v.Facts.Withheld > 0 && in.Effort.Enrolled < v.Facts.Enrolled {
		v.partOfResult(said, in)
		return nil
	}
	if in.Effort.Enrolled != v.Facts.Enrolled {
		v.found.differs(partResult, "%d anglers have rows and %d are said to have joined, with nobody's left out", in.Effort.Enrolled, v.Facts.Enrolled)
	}
	if err := v.flow(in.Effort); err != nil {
		return err
	}
	settings := analysis.Settings{ProgramVersion: said.ProgramVersion}
	computed, err := analysis.Run(in, settings)
	if err != nil {
		v.found.differs(partResult, "the rows cannot be analysed: %v", err)
		return nil
	}
	encoded, err := computed.Encode()
	if err != nil {
		return err
	}
	v.compareResults(encoded, computed, said)
	return nil
}

// flow holds the numbers of the flow diagram that follow from the rows against those told.
func (v *verifier) flow(rows trial.Effort) error {
	counts, err := countsOf(rows)
	if err != nil {
		return err
	}
	for _, told := range v.Flow {
		if told.N != counts[told.What] {
			v.found.differs(partResult, "flow.csv has %d %s, and the rows %d", told.N, told.What, counts[told.What])
		}
	}
	return nil
}

// compareResults tells how far two results agree.
func (v *verifier) compareResults(encoded []byte, computed, said analysis.Result) {
	if computed.Fingerprint != said.Fingerprint {
		v.found.differs(partResult, "the counts of the rows have the fingerprint %s, those of %s have %s", computed.Fingerprint, fileResult, said.Fingerprint)
	}
	if bytes.Equal(encoded, v.Package.Result) {
		v.found.agrees(partResult, "The rows give %s again, byte for byte: %s", fileResult, said.Verdict.Sentence)
		return
	}
	differences, err := compareJSON(encoded, v.Package.Result)
	switch {
	case err != nil:
		v.found.differs(partResult, "%s cannot be read: %v", fileResult, err)
	case len(differences) > 0:
		for _, d := range differences {
			v.found.differs(partResult, "%s", d)
		}
	case said.ProgramVersion == v.options.ProgramVersion:
		v.found.differs(partResult, "the rows give the numbers of %s again, and not its bytes, although the same version of the program computed it", fileResult)
	default:
		v.found.agrees(partResult, "The rows give the numbers of %s again, to 1e-9 and what rests on the mixed model to 1e-6 (it was computed by version %s, this is %s): %s", fileResult, said.ProgramVersion, v.options.ProgramVersion, said.Verdict.Sentence)
	}
}

// partOfResult tells what can be told where rows were left out: the counts of those that are here.
func (v *verifier) partOfResult(said analysis.Result, in analysis.Input) {
	v.found.untold(partResult, "The result was computed with the fish of %d anglers whose rows are left out, so that it cannot be computed from the rows.", v.Facts.Withheld)
	here := map[trial.Taken]int64{}
	for _, t := range in.Tallies {
		if t.Exclusion == trial.Analysed {
			here[t.Taken] += t.N
		}
	}
	if here[trial.TookTest] > said.Counts.Test || here[trial.TookControl] > said.Counts.Control || said.Counts.Anglers != v.Facts.Enrolled {
		v.found.differs(partResult, "the rows have more fish than the result was computed from, or another number of anglers joined")
	}
	rows := map[string]analysis.Angler{}
	for _, a := range said.Anglers {
		rows[a.Angler] = a
	}
	computed, err := analysis.Run(in, analysis.Settings{ProgramVersion: said.ProgramVersion})
	if err != nil {
		v.found.differs(partResult, "the rows cannot be analysed: %v", err)
		return
	}
	for _, a := range computed.Anglers {
		if b, there := rows[a.Angler]; there && (a.TestLower != b.TestLower || a.ControlLower != b.ControlLower) {
			v.found.differs(partResult, "the fish of %s are counted otherwise in %s than by the rows", a.Angler, fileResult)
		}
	}
	v.found.agrees(partResult, "The fish of the %d anglers with rows are counted in %s as their rows have them.", len(computed.Anglers), fileResult)
}

// report holds the report page against the result.
func (v *verifier) report() error {
	said, err := analysis.Decode(v.Package.Result)
	if err != nil {
		return nil // told already
	}
	page := string(v.Package.Report)
	for _, must := range []string{said.Verdict.Sentence, said.Fingerprint} {
		if !strings.Contains(page, must) && !strings.Contains(page, html.EscapeString(must)) {
			v.found.differs(partReport, "%s does not say %q, which is in %s", fileReport, must, fileResult)
		}
	}
	v.found.agrees(partReport, "%s says what %s says.", fileReport, fileResult)
	v.found.untold(partReport, "The rest of %s is not worked out again: it draws on more than is here.", fileReport)
	return nil
}

// compareJSON names where two results differ by more than their tolerance: 1e-9 of what is computed exactly, 1e-6 of what rests on
// the mixed model, which is fitted in steps.
func compareJSON(a, b []byte) ([]string, error) {
	var x, y any
	if err := json.Unmarshal(a, &x); err != nil {
		return nil, err
	}
	if err := json.Unmarshal(b, &y); err != nil {
		return nil, err
	}
	var differences []string
	compareValues("", x, y, &differences)
	return differences, nil
}

// exactParts are those parts of a result that do not rest on the mixed model.
var exactParts = []string{"counts", "raw_share", "pooled_table", "stratified", "combined", "randomisation"}

func compareValues(path string, a, b any, differences *[]string) {
	differ := func() {
		*differences = append(*differences, fmt.Sprintf("%s: the rows give %.120s, %s has %.120s", strings.TrimPrefix(path, "."), jsonText(a), fileResult, jsonText(b)))
	}
	switch x := a.(type) {
	case map[string]any:
		y, ok := b.(map[string]any)
		if !ok {
			differ()
			return
		}
		for _, key := range slices.Sorted(maps.Keys(x)) {
			if _, there := y[key]; !there {
				*differences = append(*differences, fmt.Sprintf("%s.%s is not in %s", strings.TrimPrefix(path, "."), key, fileResult))
				continue
			}
			compareValues(path+"."+key, x[key], y[key], differences)
		}
		for _, key := range slices.Sorted(maps.Keys(y)) {
			if _, there := x[key]; !there {
				*differences = append(*differences, fmt.Sprintf("%s.%s is in %s alone", strings.TrimPrefix(path, "."), key, fileResult))
			}
		}
	case []any:
		y, ok := b.([]any)
		if !ok || len(x) != len(y) {
			differ()
			return
		}
		for i := range x {
			compareValues(fmt.Sprintf("%s[%d]", path, i), x[i], y[i], differences)
		}
	case float64:
		y, ok := b.(float64)
		if !ok || math.Abs(x-y) > toleranceOf(path)*max(1, math.Abs(x)) {
			differ()
		}
	default:
		if a != b {
			differ()
		}
	}
}

func toleranceOf(path string) float64 {
	for _, part := range exactParts {
		if strings.HasPrefix(path, "."+part) {
			return 1e-9
		}
	}
	return 1e-6
}
