package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"

	"evenrig/service/analysis"
	"evenrig/service/report"
)

// planCommand says how large a trial must be, without any database.
type planCommand struct {
	Share       *float64 `placeholder:"N" help:"Of 100 fish on the two flies, how many must take the changed one before you would change what you tie; usually 60."`
	Chance      *float64 `placeholder:"N" help:"In how many of 100 seasons the trial should see that; usually 80."`
	FalseAlarms *float64 `name:"false-alarms" placeholder:"N" help:"In how many of 100 trials of two flies that are alike it may say that they are not; usually 5."`
	Anglers     *int     `placeholder:"N" help:"Anglers who take part; usually 12."`
	Fish        *float64 `placeholder:"N" help:"Fish each lands in the season; usually 24."`
	PerOuting   *float64 `name:"per-outing" placeholder:"N" help:"Fish an outing, on average; usually 8."`
	Hours       *float64 `placeholder:"N" help:"Hours an outing lasts; usually 4."`
	Lower       *float64 `placeholder:"N" help:"Of 100 fish, how many take the lower fly when the two are alike; usually 50."`
	Differ      *float64 `placeholder:"SD" help:"How much anglers differ in what the changed fly does for them, as an SD of log odds: 0 all alike, .3 usual, .5 much."`
	SwapFish    *int     `name:"swap-fish" placeholder:"N" help:"Swap the flies after so many fish; usually 2, 0 for a swap by the clock alone."`
	SwapMinutes *int     `name:"swap-minutes" placeholder:"N" help:"Swap after so many minutes, whichever comes first; usually 45, 0 for a swap by fish alone."`
	Flies       *int     `placeholder:"N" help:"Flies compared, the usual one among them, two on the line at a time; usually 2."`
	ByOuting    bool     `name:"by-outing" help:"One way round for a whole outing, no swap on the water."`
	OneFly      bool     `name:"one-fly" help:"One fly at a time, changed by the clock, and catches per hour compared."`
	Span        bool     `help:"A round left unfinished goes on at the next outing."`
	Dropout     *float64 `placeholder:"N" help:"Of 100 anglers, how many stop on the way; usually 20."`
	NotSure     *float64 `name:"not-sure" placeholder:"N" help:"Of 100 fish, how many leave it open which fly they took; usually 5."`
	Looks       int      `placeholder:"N" help:"Plan so many counts in all, 2 to 6, the last at the end; without it the trial is counted once."`
	Anytime     bool     `help:"Weigh the evidence after every finished round instead."`
	Seasons     *int     `placeholder:"N" help:"Play so many seasons by chance beside the formula; usually 1000, 0 for none."`
	Format      string   `enum:"text,json,html" default:"text" help:"What is printed: text, json or html."`
	Out         string   `placeholder:"FOLDER" type:"path" help:"Also write plan.json, plan.html and curve.svg there."`
	Question    string   `arg:"" optional:"" help:"The question as JSON, as it stands in plan.json under question; - reads standard input. Flags go before it."`
}

// Run prints the plan in the chosen format. Nothing is written before all of it could be made.
func (c *planCommand) Run(s streams) error {
	q, err := c.question(s.in)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	progress, done := playing(s.err)
	answer, err := analysis.PlanSize(ctx, q, runtime.GOMAXPROCS(0), progress)
	done()
	switch {
	case ctx.Err() != nil:
		return errors.New("stopped: nothing was written")
	case err != nil:
		return planFault(err)
	}
	var page bytes.Buffer
	if err := planPage(&page, c.Format, answer); err != nil {
		return err
	}
	if c.Out != "" {
		if err := writePlan(c.Out, answer); err != nil {
			return err
		}
	}
	_, err = page.WriteTo(s.out)
	return err
}

// playing returns what tells on a terminal how many seasons were played, and what wipes it away; elsewhere it is nil.
func playing(w io.Writer) (progress func(done, of int), done func()) {
	file, ok := w.(*os.File)
	if !ok {
		return nil, func() {}
	}
	if info, err := file.Stat(); err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return nil, func() {}
	}
	return func(done, of int) { fmt.Fprintf(w, "\rplaying seasons: %d of about %d ", done, of) }, func() { fmt.Fprint(w, "\r\033[K") }
}

// planPage writes the plan in one of the formats.
func planPage(w io.Writer, format string, a analysis.SizeAnswer) error {
	switch format {
	case "json":
		encoded, err := json.MarshalIndent(a, "", "  ")
		if err != nil {
			return fmt.Errorf("write the plan: %w", err)
		}
		_, err = w.Write(append(encoded, '\n'))
		return err
	case "html":
		return report.PlanHTML(w, a, programVersion())
	}
	return report.PlanText(w, a, programVersion())
}

// writePlan writes plan, page and curve into the folder, made when it is missing, once all three could be made.
func writePlan(folder string, a analysis.SizeAnswer) error {
	var html, encoded, curve bytes.Buffer
	if err := errors.Join(planPage(&html, "html", a), planPage(&encoded, "json", a), report.PlanCurve(&curve, a)); err != nil {
		return err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("the folder for the plan cannot be made: %w", err)
	}
	for name, content := range map[string]*bytes.Buffer{"plan.html": &html, "plan.json": &encoded, "curve.svg": &curve} {
		if err := os.WriteFile(filepath.Join(folder, name), content.Bytes(), 0o644); err != nil {
			return fmt.Errorf("write the plan: %w", err)
		}
	}
	return nil
}
