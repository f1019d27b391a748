package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"evenrig/service/analysis"
	"evenrig/service/exchange"
	"evenrig/service/report"
	"evenrig/service/trial"
)

// analyseCommand analyses a catch table without any database.
type analyseCommand struct {
	Test       string   `placeholder:"CODE" help:"Code of the test pattern, the changed fly; needed but for a kit."`
	Control    string   `placeholder:"CODE" help:"Code of the control pattern, the usual fly; without it the one other code in the table."`
	Format     string   `enum:"text,json,html" default:"text" help:"What is printed: text, json or html."`
	Out        string   `placeholder:"FOLDER" type:"path" help:"Also write there: report.html, result.json, catches.csv (the cleaned table), summary.html (one page), of several anglers club-night.html (a row for each), picture.svg, picture.png, picture-square.png, and post.txt to copy."`
	Vary       string   `enum:",pattern,pattern+position,pattern+position+outing" default:"" placeholder:"TERMS" help:"What differs between anglers (and outings): pattern, pattern+position or pattern+position+outing."`
	Subgroup   []string `sep:"none" placeholder:"COLUMN" help:"A column named beforehand, whose levels are compared: species, origin, water_type, fly, month or one of the table's own; may be given again."`
	Correlated bool     `help:"Let an angler's pattern and position effects be correlated; 15 anglers or more are advised."`
	Points     int      `placeholder:"N" help:"Quadrature points per dimension; 1 is the joint Laplace approximation."`
	LowerWord  string   `placeholder:"W" help:"Your word for the lower position, the last fly on the line; usually point."`
	UpperWord  string   `placeholder:"W" help:"Your word for the upper position; usually dropper."`
	File       string   `arg:"" help:"The catch table, CSV or the first sheet of an .xlsx workbook; - reads standard input. Or the folder of a kit."`

	kit   *exchange.Kit
	about report.About
}

// Run prints the result in the chosen format. Nothing is written before all of it could be made.
func (c *analyseCommand) Run(s streams) (err error) {
	if err := c.begin(); err != nil {
		return err
	}
	file, err := c.open(s.in)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.close()) }()
	table, input, err := c.input(file)
	if err != nil {
		return err
	}
	result, err := analysis.Run(input, analysis.Settings{Vary: analysis.Vary(c.Vary), Correlated: c.Correlated, Points: c.Points, ProgramVersion: programVersion()})
	if trial.KindOf(err) == trial.Invalid { // the table was checked before: the flags are at fault
		return usageError{plain(err)}
	}
	if err != nil {
		return err
	}
	if c.about.Lineup, err = analysis.NewLineup(input, result.Fingerprint); err != nil {
		return err
	}
	var page bytes.Buffer
	if err := c.page(&page, c.Format, result); err != nil {
		return err
	}
	if c.Out != "" {
		if err := c.writeFolder(result, table); err != nil {
			return err
		}
	}
	_, err = page.WriteTo(s.out)
	return err
}

// begin looks whether it is a kit that is to be analysed, and at the flags.
func (c *analyseCommand) begin() (err error) {
	if c.kit, err = openKit(c.File); err != nil {
		return err
	}
	switch {
	case c.kit != nil:
		return c.useKit()
	case c.Test == "":
		return usageError{errors.New("--test is missing; accepted: the code of the changed fly in the table")}
	case c.Test == c.Control:
		return usageError{fmt.Errorf("--test and --control are both %q; accepted: two different codes", c.Test)}
	}
	return nil
}

// open opens the table.
func (c *analyseCommand) open(stdin io.Reader) (tableFile, error) {
	if c.path() == "-" {
		return keepTable(stdin)
	}
	return openTable(c.path())
}

// input reads what is to be analysed: a table by itself, or a kit's by its rule sheet and its draw.
func (c *analyseCommand) input(file exchange.File) (table exchange.Table, in analysis.Input, err error) {
	if table, err = c.read(file); err != nil {
		return table, in, err
	}
	if c.kit != nil {
		if in, err = c.kit.Input(table); err != nil {
			return table, in, fmt.Errorf("%s: %w", c.name(), plain(err))
		}
		c.about = aboutKit(*c.kit, len(in.Draw))
		return table, in, nil
	}
	tallies, err := table.Tallies()
	if err != nil {
		return table, in, fmt.Errorf("%s: %w", c.name(), plain(err))
	}
	return table, analysis.Input{
		Test: table.Test, Control: table.Control, LowerWord: c.LowerWord, UpperWord: c.UpperWord,
		Source: trial.Recorded, Tallies: tallies, Subgroups: table.Subgroups,
	}, nil
}

// read reads the table; faults of its rows are an error that lists them.
func (c *analyseCommand) read(file exchange.File) (exchange.Table, error) {
	table, faults, err := c.readBy(file)
	switch {
	case err != nil && c.kit != nil:
		return exchange.Table{}, fmt.Errorf("%s: %w", c.name(), plain(err))
	case errors.Is(err, exchange.ErrControlUnknown):
		return exchange.Table{}, fmt.Errorf("%s: %w; --control CODE names the control pattern", c.name(), plain(err))
	case err != nil:
		return exchange.Table{}, fmt.Errorf("%s: %w", c.name(), plain(err))
	case c.kit == nil && table.Faults == 0 && len(table.Codes) > 0 && !slices.Contains(table.Codes, c.Test):
		return exchange.Table{}, fmt.Errorf("%s: the table has no pattern %q; it has %s", c.name(), c.Test, strings.Join(table.Codes, ", "))
	case table.Faults == 0:
		return table, nil
	}
	lines := make([]string, 0, len(faults)+2)
	lines = append(lines, fmt.Sprintf("%s: %s, nothing was analysed", c.name(), report.Counted(int64(table.Faults), "fault", "faults")))
	for _, fault := range faults {
		lines = append(lines, "  "+fault.String())
	}
	if more := table.Faults - len(faults); more > 0 {
		lines = append(lines, fmt.Sprintf("  and %d more", more))
	}
	return exchange.Table{}, errors.New(strings.Join(lines, "\n"))
}

// readBy reads the table by the flags, or by the kit's rule sheet.
func (c *analyseCommand) readBy(file exchange.File) (exchange.Table, []exchange.RowFault, error) {
	if c.kit != nil {
		return c.kit.ReadTable(file, c.Subgroup...)
	}
	return exchange.ReadCatchTable(file, exchange.ReadOptions{Test: c.Test, Control: c.Control, Subgroups: c.Subgroup})
}

// path is where the table is.
func (c *analyseCommand) path() string {
	if c.kit != nil {
		return filepath.Join(c.File, exchange.KitCatches)
	}
	return c.File
}

// name is the table's name in messages and at the head of the report.
func (c *analyseCommand) name() string {
	if c.path() == "-" {
		return "standard input"
	}
	return filepath.Base(c.path())
}

// page writes the result in one of the formats.
func (c *analyseCommand) page(w io.Writer, format string, result analysis.Result) error {
	switch format {
	case "json":
		encoded, err := result.Encode()
		if err != nil {
			return err
		}
		_, err = w.Write(encoded)
		return err
	case "html":
		return report.HTML(w, result, c.about)
	}
	return report.Text(w, result, c.about)
}

// writeFolder writes everything that can be made of a result into the folder, made when it is missing, once all of it could be made.
func (c *analyseCommand) writeFolder(result analysis.Result, table exchange.Table) error {
	type file struct {
		name    string
		write   func(io.Writer) error
		content bytes.Buffer
	}
	files := []file{
		{name: "report.html", write: func(w io.Writer) error { return c.page(w, "html", result) }},
		{name: "result.json", write: func(w io.Writer) error { return c.page(w, "json", result) }},
		{name: "summary.html", write: func(w io.Writer) error { return report.SummaryPage(w, result, c.about) }},
		{name: "picture.svg", write: func(w io.Writer) error { return report.PictureSVG(w, result, c.about, report.Wide) }},
		{name: "picture.png", write: func(w io.Writer) error { return report.PicturePNG(w, result, c.about, report.Wide) }},
		{name: "picture-square.png", write: func(w io.Writer) error { return report.PicturePNG(w, result, c.about, report.Square) }},
		{name: "post.txt", write: func(w io.Writer) error { return writeLine(w, report.Post(result, c.about)) }},
	}
	if len(result.Anglers) > 1 {
		files = append(files, file{name: "club-night.html", write: func(w io.Writer) error { return report.ClubNightPage(w, result, c.about) }})
	}
	for i := range files {
		if err := files[i].write(&files[i].content); err != nil {
			return fmt.Errorf("make %s: %w", files[i].name, err)
		}
	}
	if err := os.MkdirAll(c.Out, 0o755); err != nil {
		return fmt.Errorf("the folder for the results cannot be made: %w", err)
	}
	for i := range files {
		if err := os.WriteFile(filepath.Join(c.Out, files[i].name), files[i].content.Bytes(), 0o644); err != nil {
			return fmt.Errorf("write results: %w", err)
		}
	}
	return writeTable(filepath.Join(c.Out, "catches.csv"), table)
}

// writeTable writes the cleaned table, which may be too long to be made in memory first.
func writeTable(path string, table exchange.Table) (err error) {
	file, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("write results: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return exchange.WriteCatchTable(file, table)
}

func writeLine(w io.Writer, text string) error {
	_, err := io.WriteString(w, text+"\n")
	return err
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
