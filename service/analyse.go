package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"evenrig/service/analysis"
	"evenrig/service/exchange"
	"evenrig/service/report"
	"evenrig/service/trial"
)

// analyseCommand analyses a catch table without any database.
type analyseCommand struct {
	Test      string `required:"" placeholder:"CODE" help:"Code of the test pattern, the changed fly."`
	Control   string `placeholder:"CODE" help:"Code of the control pattern, the usual fly; without it the one other code in the table."`
	Format    string `enum:"text,json,html" default:"text" help:"What is printed: text, json or html."`
	Out       string `placeholder:"FOLDER" type:"path" help:"Also write report.html, result.json and catches.csv, the cleaned table, there."`
	Vary      string `enum:",pattern,pattern+position,pattern+position+outing" default:"" placeholder:"TERMS" help:"What differs between anglers (and outings): pattern, pattern+position or pattern+position+outing."`
	Points    int    `placeholder:"N" help:"Quadrature points per dimension; 1 is the joint Laplace approximation, the only one with outings."`
	LowerWord string `placeholder:"W" default:"point" help:"Your word for the lower position, the last fly on the line."`
	UpperWord string `placeholder:"W" default:"dropper" help:"Your word for the upper position."`
	File      string `arg:"" help:"The catch table, CSV; - reads standard input."`
}

// Run prints the result in the chosen format. Nothing is written before all of it could be made.
func (c *analyseCommand) Run(s streams) error {
	if c.Control == c.Test {
		return usageError{fmt.Errorf("--test and --control are both %q; accepted: two different codes", c.Test)}
	}
	table, err := c.read(s.in)
	if err != nil {
		return err
	}
	result, err := analysis.Run(analysis.Input{
		Test: table.Test, Control: table.Control, LowerWord: c.LowerWord, UpperWord: c.UpperWord,
		Source: trial.Recorded, Tallies: table.Tallies(),
	}, analysis.Settings{Vary: analysis.Vary(c.Vary), Points: c.Points, ProgramVersion: programVersion()})
	if trial.KindOf(err) == trial.Invalid { // the table was checked before: the flags are at fault
		return usageError{plain(err)}
	}
	if err != nil {
		return err
	}
	files, err := c.render(result, table)
	if err != nil {
		return err
	}
	if c.Out != "" {
		if err := writeFolder(c.Out, files); err != nil {
			return err
		}
	}
	_, err = s.out.Write(files[map[string]string{"text": "", "json": "result.json", "html": "report.html"}[c.Format]])
	return err
}

// read reads the table; faults of its rows are an error that lists them.
func (c *analyseCommand) read(stdin io.Reader) (exchange.Table, error) {
	source := stdin
	if c.File != "-" {
		file, err := os.Open(c.File)
		if err != nil {
			return exchange.Table{}, fmt.Errorf("the catch table cannot be opened: %w", err)
		}
		defer file.Close()
		source = file
	}
	table, faults, err := exchange.ReadCatchTable(source, exchange.ReadOptions{Test: c.Test, Control: c.Control})
	if err != nil {
		if known := (*trial.Error)(nil); c.Control == "" && errors.As(err, &known) && known.Code == "table.patterns" {
			return exchange.Table{}, fmt.Errorf("%s: %w; --control CODE names the control pattern", c.name(), plain(err))
		}
		return exchange.Table{}, fmt.Errorf("%s: %w", c.name(), plain(err))
	}
	if table.Faults == 0 {
		return table, nil
	}
	lines := make([]string, 0, len(faults)+2)
	lines = append(lines, fmt.Sprintf("%s: %d faults, nothing was analysed", c.name(), table.Faults))
	for _, fault := range faults {
		lines = append(lines, "  "+fault.String())
	}
	if more := table.Faults - len(faults); more > 0 {
		lines = append(lines, fmt.Sprintf("  and %d more", more))
	}
	return exchange.Table{}, errors.New(strings.Join(lines, "\n"))
}

// name is the table's name in messages and at the head of the report.
func (c *analyseCommand) name() string {
	if c.File == "-" {
		return "standard input"
	}
	return filepath.Base(c.File)
}

// render makes every file that could be asked for; the text page has no name.
func (c *analyseCommand) render(result analysis.Result, table exchange.Table) (map[string][]byte, error) {
	encoded, err := result.Encode()
	if err != nil {
		return nil, err
	}
	var text, html, csv bytes.Buffer
	if err := report.Text(&text, result, report.About{}); err != nil {
		return nil, err
	}
	if err := report.HTML(&html, result, report.About{}); err != nil {
		return nil, err
	}
	if err := exchange.WriteCatchTable(&csv, table); err != nil {
		return nil, err
	}
	return map[string][]byte{"": text.Bytes(), "result.json": encoded, "report.html": html.Bytes(), "catches.csv": csv.Bytes()}, nil
}

// writeFolder writes the named files into a folder, made when it is missing.
func writeFolder(folder string, files map[string][]byte) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("the folder for the results cannot be made: %w", err)
	}
	for _, name := range []string{"report.html", "result.json", "catches.csv"} {
		if err := os.WriteFile(filepath.Join(folder, name), files[name], 0o644); err != nil {
			return fmt.Errorf("write results: %w", err)
		}
	}
	return nil
}

// plain takes the code off an error that is shown to a person at a terminal.
func plain(err error) error {
	var known *trial.Error
	if !errors.As(err, &known) {
		return err
	}
	text := known.Detail
	for _, field := range known.Fields {
		text += "; " + field.Field + " " + field.Detail
	}
	return errors.New(text)
}
