package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/signal"
	"path"
	"runtime"
	"syscall"
	"time"

	"evenrig/stats/calibration"
)

// calibrateCommand measures by simulation how far each method's interval can be trusted.
type calibrateCommand struct {
	Cells   []string `placeholder:"NAME" help:"Cells to run, by name; * stands for any text. All by default."`
	Study   string   `enum:"grid,slow,edge" default:"grid" help:"grid: every method that is fast enough, in the default cells; slow: the parametric bootstrap and the conditional mixed model, in twelve of them; edge: cells beyond, where methods begin to fail."`
	Trials  int      `default:"4000" placeholder:"N" help:"Trials drawn in each cell, 2 or more (${default})."`
	Seed    uint64   `default:"20260131" placeholder:"N" help:"Every random number follows from it (${default})."`
	Workers int      `placeholder:"N" help:"Trials computed at the same time; all processors by default. The answer does not depend on it."`
	Out     string   `placeholder:"FILE" type:"path" help:"Also keep the table there as CSV, written after each cell; cells that it already holds for this seed and number of trials are not run again."`
}

// Run prints the rule's findings and the tables. An interrupt ends it; what Out holds by then stays.
func (c *calibrateCommand) Run(s streams) error {
	grid, methods := calibration.DefaultGrid(), calibration.Methods()
	switch c.Study {
	case "slow":
		grid, methods = calibration.SlowGrid(), calibration.SlowMethods()
	case "edge":
		grid = calibration.EdgeGrid()
	}
	cells, err := c.chosen(grid)
	if err != nil {
		return usageError{err}
	}
	if c.Workers == 0 {
		c.Workers = runtime.GOMAXPROCS(0)
	}
	if c.Trials < 2 || c.Workers < 1 {
		return usageError{fmt.Errorf("--trials is %d and --workers %d; accepted are 2 or more and 1 or more", c.Trials, c.Workers)}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	rows, err := c.run(ctx, cells, methods, s.err)
	if errors.Is(err, context.Canceled) {
		return errors.New("interrupted; with --out the cells that were finished are kept")
	}
	if err != nil {
		return err
	}
	return calibration.WriteMarkdown(s.out, rows)
}

// chosen returns the cells of the grid that --cells names.
func (c *calibrateCommand) chosen(grid []calibration.Cell) ([]calibration.Cell, error) {
	if len(c.Cells) == 0 {
		return grid, nil
	}
	var cells []calibration.Cell
	used := map[string]bool{}
	for _, cell := range grid {
		take := false
		for _, pattern := range c.Cells {
			match, err := path.Match(pattern, cell.Name())
			if err != nil {
				return nil, fmt.Errorf("--cells %q: %w", pattern, err)
			}
			if match {
				used[pattern], take = true, true
			}
		}
		if take {
			cells = append(cells, cell)
		}
	}
	for _, pattern := range c.Cells {
		if !used[pattern] {
			return nil, fmt.Errorf("--cells %q names no cell; accepted are names such as %s, with * for any text", pattern, grid[0].Name())
		}
	}
	return cells, nil
}

// run runs the cells one after another, each with all workers, and keeps the table.
func (c *calibrateCommand) run(ctx context.Context, cells []calibration.Cell, methods []calibration.Method, progress io.Writer) ([]calibration.Row, error) {
	settings := calibration.Settings{Trials: c.Trials, Seed: c.Seed, Workers: c.Workers, Methods: methods}
	known, err := c.kept(settings)
	if err != nil {
		return nil, err
	}
	var rows []calibration.Row
	for i, cell := range cells {
		if old, ok := known[cell.Name()]; ok {
			rows = append(rows, old...)
			continue
		}
		start := time.Now()
		done, err := calibration.Run(ctx, cell, settings, nil)
		if err != nil {
			return nil, err
		}
		rows = append(rows, done...)
		if err := c.keep(done); err != nil {
			return nil, err
		}
		fmt.Fprintf(progress, "%d of %d: %s, %d trials in %s\n", i+1, len(cells), cell.Name(), c.Trials, time.Since(start).Round(time.Second/10))
	}
	return rows, nil
}

// kept reads the cells that the file holds complete for these settings.
func (c *calibrateCommand) kept(s calibration.Settings) (map[string][]calibration.Row, error) {
	known := map[string][]calibration.Row{}
	if c.Out == "" {
		return known, nil
	}
	content, err := os.ReadFile(c.Out)
	if errors.Is(err, fs.ErrNotExist) {
		return known, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the table: %w", err)
	}
	table, err := calibration.ReadCSV(bytes.NewReader(content))
	if err != nil {
		return nil, fmt.Errorf("%s: %w; accepted is a table that this command wrote, or a new name", c.Out, err)
	}
	for _, row := range table {
		if row.Trials != s.Trials || row.Seed != s.Seed {
			return nil, fmt.Errorf("%s holds %d trials a cell from seed %d, not %d from seed %d; accepted is another file, or the same settings", c.Out, row.Trials, row.Seed, s.Trials, s.Seed)
		}
		known[row.Cell.Name()] = append(known[row.Cell.Name()], row)
	}
	for name, rows := range known {
		if len(rows) != len(s.Methods) {
			return nil, fmt.Errorf("%s holds %d methods for %s, not %d; accepted is another file", c.Out, len(rows), name, len(s.Methods))
		}
	}
	return known, nil
}

// keep adds a cell's rows to the file, with the header if the file is new.
func (c *calibrateCommand) keep(rows []calibration.Row) error {
	if c.Out == "" {
		return nil
	}
	_, err := os.Stat(c.Out)
	fresh := errors.Is(err, fs.ErrNotExist)
	var lines bytes.Buffer
	if err := calibration.WriteCSV(&lines, rows, fresh); err != nil {
		return err
	}
	file, err := os.OpenFile(c.Out, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		return fmt.Errorf("keep the table: %w", err)
	}
	_, err = file.Write(lines.Bytes())
	return errors.Join(err, file.Close())
}
