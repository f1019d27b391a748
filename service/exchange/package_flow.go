package exchange

import (
	"encoding/json"
	"fmt"
	"slices"

	"evenrig/service/trial"
)

// flowOfRows are the numbers of the flow diagram that follow from the rows of a package; all others are told in numbers alone.
var flowOfRows = []string{
	"enrolled", "outings", "blank_outings", "blocks", "finished_blocks", "not_logged", "deviations", "late_noted", "phone_blocks", "slip_blocks", "coin_blocks", "lost_units",
}

// countsOf are the numbers of a flow diagram by their names; those that are left out where they are 0 are not there.
func countsOf(e trial.Effort) (counts map[string]int64, err error) {
	text, err := json.Marshal(e)
	if err == nil {
		err = json.Unmarshal(text, &counts)
	}
	if err != nil {
		return nil, fmt.Errorf("count the flow diagram: %w", err)
	}
	return counts, nil
}

// flowWith is the flow diagram with what follows from the rows, and the rest as it is told.
func (p Package) flowWith(rows trial.Effort) (e trial.Effort, err error) {
	counts, err := countsOf(rows)
	if err != nil {
		return e, err
	}
	for _, told := range p.Flow {
		if !slices.Contains(flowOfRows, told.What) {
			counts[told.What] = told.N
		}
	}
	text, err := json.Marshal(counts)
	if err == nil {
		err = json.Unmarshal(text, &e)
	}
	return e, err
}
