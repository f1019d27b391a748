package calibration

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
)

// ErrTable: a table that WriteCSV did not write.
var ErrTable = errors.New("not a calibration table")

// column is one column of the table: its name and how a row shows and reads it.
type column struct {
	name string
	get  func(Row) string
	set  func(*Row, string) error
}

// columns are those of the CSV table, in order. Each measure is followed by its Monte
// Carlo standard error; an unknown measure is empty.
var columns = append([]column{
	{"cell", func(r Row) string { return r.Cell.Name() }, func(*Row, string) error { return nil }},
	count("anglers", func(r *Row) *int { return &r.Cell.Anglers }),
	count("fish_per_angler", func(r *Row) *int { return &r.Cell.Fish }),
	number("sd_pattern", func(r *Row) *float64 { return &r.Cell.SDPattern }),
	number("sd_position", func(r *Row) *float64 { return &r.Cell.SDPosition }),
	number("sd_outing", func(r *Row) *float64 { return &r.Cell.SDOuting }),
	number("lower_share", func(r *Row) *float64 { return &r.Cell.LowerShare }),
	number("test_share", func(r *Row) *float64 { return &r.Cell.TestShare }),
	{"effort", func(r Row) string { return string(r.Cell.Effort) }, func(r *Row, s string) error { r.Cell.Effort = Effort(s); return nil }},
	count("outing_fish", func(r *Row) *int { return &r.Cell.OutingFish }),
	{"method", func(r Row) string { return r.Method }, func(r *Row, s string) error { r.Method = s; return nil }},
	count("trials", func(r *Row) *int { return &r.Trials }),
	{"seed", func(r Row) string { return strconv.FormatUint(r.Seed, 10) }, func(r *Row, s string) (err error) {
		r.Seed, err = strconv.ParseUint(s, 10, 64)
		return err
	}},
}, measures()...)

func measures() []column {
	var list []column
	for _, m := range []struct {
		name string
		of   func(*Row) *Figure
	}{
		{"coverage", func(r *Row) *Figure { return &r.Coverage }},
		{"share_width", func(r *Row) *Figure { return &r.ShareWidth }},
		{"log_odds_width", func(r *Row) *Figure { return &r.OddsWidth }},
		{"excludes_zero", func(r *Row) *Figure { return &r.ExcludesZero }},
		{"bias", func(r *Row) *Figure { return &r.Bias }},
		{"rmse", func(r *Row) *Figure { return &r.RMSE }},
		{"not_fitted", func(r *Row) *Figure { return &r.NotFitted }},
	} {
		part := func(name string, of func(*Figure) *float64) column {
			return column{
				name, func(r Row) string {
					f := m.of(&r)
					if !f.Known {
						return ""
					}
					return strconv.FormatFloat(*of(f), 'g', 5, 64)
				},
				func(r *Row, s string) (err error) {
					f := m.of(r)
					if f.Known = s != ""; !f.Known {
						return nil
					}
					*of(f), err = strconv.ParseFloat(s, 64)
					if err == nil && (math.IsNaN(*of(f)) || math.IsInf(*of(f), 0)) {
						err = fmt.Errorf("%s is no finite number", s)
					}
					return err
				},
			}
		}
		list = append(list,
			part(m.name, func(f *Figure) *float64 { return &f.Value }),
			part(m.name+"_mc_error", func(f *Figure) *float64 { return &f.MCError }))
	}
	return list
}

func count(name string, of func(*Row) *int) column {
	return column{
		name, func(r Row) string { return strconv.Itoa(*of(&r)) },
		func(r *Row, s string) (err error) { *of(r), err = strconv.Atoi(s); return err },
	}
}

func number(name string, of func(*Row) *float64) column {
	return column{
		name, func(r Row) string { return strconv.FormatFloat(*of(&r), 'g', -1, 64) },
		func(r *Row, s string) (err error) { *of(r), err = strconv.ParseFloat(s, 64); return err },
	}
}

// WriteCSV writes the rows, five digits a measure, after a header row if header is true.
func WriteCSV(w io.Writer, rows []Row, header bool) error {
	out := csv.NewWriter(w)
	record := make([]string, len(columns))
	if header {
		for i, c := range columns {
			record[i] = c.name
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	for _, r := range rows {
		for i, c := range columns {
			record[i] = c.get(r)
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// ReadCSV reads a table that WriteCSV wrote with its header; an empty file is an empty
// table. Errors: ErrTable, naming the line and the column.
func ReadCSV(r io.Reader) ([]Row, error) {
	records, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrTable, err)
	}
	var rows []Row
	for line, record := range records {
		if len(record) != len(columns) {
			return nil, fmt.Errorf("%w: line %d has %d columns, not %d", ErrTable, line+1, len(record), len(columns))
		}
		var row Row
		for i, c := range columns {
			if line == 0 {
				if record[i] != c.name {
					return nil, fmt.Errorf("%w: column %d is %q, not %q", ErrTable, i+1, record[i], c.name)
				}
				continue
			}
			if err := c.set(&row, record[i]); err != nil {
				return nil, fmt.Errorf("%w: line %d, column %s: %w", ErrTable, line+1, c.name, err)
			}
		}
		if line == 0 {
			continue
		}
		if err := row.Cell.Validate(); err != nil {
			return nil, fmt.Errorf("%w: line %d: %w", ErrTable, line+1, err)
		}
		if name := row.Cell.Name(); name != record[0] {
			return nil, fmt.Errorf("%w: line %d is named %q, but holds %q", ErrTable, line+1, record[0], name)
		}
		rows = append(rows, row)
	}
	return rows, nil
}
