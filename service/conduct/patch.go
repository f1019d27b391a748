package conduct

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// clearable fields may be set to null, which takes back what was given.
var clearable = []string{"taken_pattern", "taken_position", "double_id", "length", "note", "welfare", "water_temperature", "conditions", "test_fly", "control_fly"}

// patch applies a merge patch to a record's content and lists what it changed, in order of field name. Fields that the
// content does not have, values of the wrong type and a patch that changes nothing are refused.
func patch[T any](content T, p json.RawMessage) (T, []change, error) {
	var after T
	base, err := json.Marshal(content)
	if err != nil {
		return after, nil, fmt.Errorf("encode record: %w", err)
	}
	var before, wanted map[string]json.RawMessage
	if err := json.Unmarshal(base, &before); err != nil {
		return after, nil, fmt.Errorf("decode record: %w", err)
	}
	if err := json.Unmarshal(p, &wanted); err != nil {
		return after, nil, trial.Fail(trial.Invalid, "amendment.invalid", "the correction must be a JSON object of fields and their new values")
	}
	var f trial.Faults
	merged := make(map[string]json.RawMessage, len(before))
	for k, v := range before {
		merged[k] = v
	}
	for k, v := range wanted {
		if _, ok := before[k]; !ok {
			f.Add(k, "cannot be corrected; accepted: %s", fieldNames(before))
			continue
		}
		if string(v) == "null" && !slices.Contains(clearable, k) {
			f.Add(k, "is null; accepted: a value")
			continue
		}
		merged[k] = v
	}
	text, err := json.Marshal(merged)
	if err != nil {
		return after, nil, fmt.Errorf("encode record: %w", err)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&after); err != nil {
		if wrong, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
			f.Add(wrong.Field, "is a %s; accepted: %s", wrong.Value, wrong.Type)
		} else {
			f.Add("", "%s", err)
		}
	}
	if err := f.Err("amendment.invalid", "the correction has faults"); err != nil {
		return after, nil, err
	}
	changed, err := differences(before, after)
	if err == nil && len(changed) == 0 {
		err = trial.Fail(trial.Invalid, "amendment.invalid", "the correction changes nothing; accepted: new values of %s", fieldNames(before))
	}
	return after, changed, err
}

func differences(before map[string]json.RawMessage, after any) ([]change, error) {
	text, err := json.Marshal(after)
	if err != nil {
		return nil, fmt.Errorf("encode record: %w", err)
	}
	var now map[string]json.RawMessage
	if err := json.Unmarshal(text, &now); err != nil {
		return nil, fmt.Errorf("decode record: %w", err)
	}
	var changed []change
	for k, v := range now {
		if !reflect.DeepEqual(v, before[k]) {
			changed = append(changed, change{k, before[k], v})
		}
	}
	slices.SortFunc(changed, func(a, b change) int { return strings.Compare(a.field, b.field) })
	return changed, nil
}

func fieldNames(m map[string]json.RawMessage) string {
	return strings.Join(slices.Sorted(maps.Keys(m)), ", ")
}
