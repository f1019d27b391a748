package conduct

import (
	"context"
	"fmt"

	"evenrig/service/analysis"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// What a table from a stranger may hold. The program's own analyse command has no such bounds.
const (
	mostDroppedFish   = 20_000
	mostDroppedAngler = 100
)

// AnalyseTable analyses a catch table of whoever asks, one at a time, and keeps nothing of it. The codes are those of the changed
// fly and of the usual one; control may be empty where the table tells it.
//
// Errors: Invalid with one field per bad row, named line N; Invalid with field test or control where a code is not the
// table's; TooMany while another table is being analysed.
func (s *Service) AnalyseTable(ctx context.Context, table exchange.File, test, control string) (analysis.Result, error) {
	var none analysis.Result
	select {
	case s.dropping <- struct{}{}:
		defer func() { <-s.dropping }()
	default:
		return none, trial.Fail(trial.TooMany, "table.busy", "another table is being analysed; send yours again in a moment")
	}
	if test == "" {
		return none, invalidCode("test", "is missing; accepted: the code of the changed fly, as the table has it")
	}
	t, faults, err := exchange.ReadCatchTable(table, exchange.ReadOptions{Test: test, Control: control})
	if err != nil {
		return none, err
	}
	if t.Faults > 0 {
		return none, badRows(faults, t.Faults)
	}
	if err := smallEnough(t); err != nil {
		return none, err
	}
	if err := ctx.Err(); err != nil {
		return none, err
	}
	tallies, err := t.Tallies()
	if err != nil {
		return none, err
	}
	return analysis.Run(analysis.Input{
		Test: t.Test, Control: t.Control, Source: trial.Recorded, Tallies: tallies,
	}, analysis.Settings{ProgramVersion: s.program})
}

// smallEnough bounds the work that a stranger can ask for.
func smallEnough(t exchange.Table) error {
	if t.Count > mostDroppedFish || t.Anglers > mostDroppedAngler {
		return trial.Fail(trial.Invalid, "table.too_large", "the table has %d fish of %d anglers; accepted here: up to %d fish of %d anglers, the program's own analyse command takes more",
			t.Count, t.Anglers, mostDroppedFish, mostDroppedAngler)
	}
	return nil
}

// badRows is the error of a table with faults.
func badRows(faults []exchange.RowFault, total int) error {
	e := &trial.Error{Kind: trial.Invalid, Code: "table.rows", Detail: fmt.Sprintf("the table has %d faults, so nothing was analysed", total)}
	if total == 1 {
		e.Detail = "the table has a fault, so nothing was analysed"
	}
	for _, f := range faults {
		e.Fields = append(e.Fields, trial.FieldError{Field: fmt.Sprintf("line %d", f.Line), Detail: fmt.Sprintf("%s %q: %s", f.Column, f.Value, f.Reason)})
	}
	return e
}

func invalidCode(field, detail string) error {
	return &trial.Error{Kind: trial.Invalid, Code: "table.patterns", Detail: "the patterns are not named", Fields: []trial.FieldError{{Field: field, Detail: detail}}}
}
