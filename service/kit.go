package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// kitCommand makes what one angler, or a few without a server, need for a trial on paper.
type kitCommand struct {
	Feature     string   `placeholder:"TEXT" help:"The one thing that is changed: \"an orange collar behind the bead\"."`
	Changed     string   `placeholder:"NAME" help:"Name of the changed fly; usually \"changed fly\"."`
	Usual       string   `placeholder:"NAME" help:"Name of the usual fly; usually \"usual fly\"."`
	ChangedCode string   `name:"changed-code" placeholder:"CODE" help:"What is written for the changed fly; usually C."`
	UsualCode   string   `name:"usual-code" placeholder:"CODE" help:"What is written for the usual fly; usually U."`
	Question    string   `placeholder:"TEXT" help:"The question in your words; without it one is made from the above."`
	Species     []string `sep:"none" placeholder:"NAME" help:"A species that counts, by its scientific name; may be given again."`
	MinLength   *int     `name:"min-length" placeholder:"MM" help:"Shorter fish are written down and not compared."`
	Water       []string `sep:"none" placeholder:"NAME=KIND" help:"A water and its kind: \"Mill Reach=river\"; may be given again."`
	From        string   `placeholder:"DATE" help:"First day, like 2026-09-01."`
	To          string   `placeholder:"DATE" help:"Last day."`
	Tippet      *float64 `placeholder:"MM" help:"Diameter of the tippet, the same to both flies."`
	Hook        string   `placeholder:"MODEL" help:"Hook of both flies."`
	HookSize    string   `name:"hook-size" placeholder:"N" help:"Its size, 1/0 or 1 to 32."`
	Barb        string   `placeholder:"KIND" help:"barbless, pinched or barbed; usually barbless."`
	Spacing     *float64 `placeholder:"CM" help:"Distance between the flies; usually 20."`
	LowerWord   string   `name:"lower-word" placeholder:"W" help:"Your word for the lower position, the last fly on the line; usually point."`
	UpperWord   string   `name:"upper-word" placeholder:"W" help:"Your word for the upper position; usually dropper."`
	Share       *int     `placeholder:"N" help:"Of 100 fish on the two flies, how many must take the changed one before you would change what you tie; usually 60."`
	FalseAlarms *float64 `name:"false-alarms" placeholder:"N" help:"In how many of 100 trials of two flies that are alike it may say that they are not; usually 5."`
	Fish        *int     `placeholder:"N" help:"The trial ends at so many fish in all, or on the last day; usually 400."`
	SwapFish    *int     `name:"swap-fish" placeholder:"N" help:"Swap the flies after so many fish; usually 2, 0 for a swap by the clock alone."`
	SwapMinutes *int     `name:"swap-minutes" placeholder:"N" help:"Swap after so many minutes, whichever comes first; usually 45, 0 for a swap by fish alone."`
	ByOuting    bool     `name:"by-outing" help:"One way round for a whole outing, no swap on the water."`
	Span        bool     `help:"A round left unfinished goes on at the next outing."`
	Angler      []string `sep:"none" placeholder:"NAME" help:"An angler, as the catch table is to call him or her; may be given again. Usually one: me."`
	Rounds      *int     `placeholder:"N" help:"Slips for each angler; usually 24, or half as many as fit into the plan's outings again."`
	LocalRules  string   `name:"local-rules" placeholder:"TEXT" help:"What local law and the water's owner ask for, to stand on top of the rule sheet."`
	ReportLine  string   `name:"report-line" placeholder:"TEXT" help:"Whom to tell of dead or sick fish and of pollution."`
	Plan        string   `placeholder:"FILE" help:"A plan.json of evenrig plan, for share, false alarms, swap rule, anglers and fish."`
	Rules       string   `placeholder:"FILE" help:"A rule sheet to begin with: protocol.json of another kit, or a server's template filled in."`
	Folder      string   `arg:"" help:"The folder to make; one that holds anything is refused."`
}

// Run makes the kit by chance from the operating system.
func (c *kitCommand) Run(s streams) error { return c.make(s, rand.Reader) }

// make draws the kit and writes its folder. Nothing is written before all of it could be made.
func (c *kitCommand) make(s streams, random io.Reader) error {
	rules, err := c.rules()
	if err != nil {
		return err
	}
	kit, err := exchange.MakeKit(rules.protocol, rules.anglers, rules.rounds, random)
	if err != nil {
		return kitFault(err)
	}
	files, err := kit.Files(filepath.Base(c.Folder), programVersion())
	if err != nil {
		return err
	}
	if err := newFolder(c.Folder); err != nil {
		return err
	}
	for _, file := range files {
		if err := writeNew(filepath.Join(c.Folder, file.Name), file.Content); err != nil {
			return fmt.Errorf("write the kit: %w", err)
		}
	}
	var names []string
	for _, file := range files {
		names = append(names, "  "+file.Name)
	}
	fmt.Fprintf(s.out, "The kit is in %s:\n%s\n\nCheck code, to be kept where all can see it before the first cast:\n  %s\n\nOpen index.html: it says what to do, in five steps. slips.html and %s are\nfor somebody who does not fish the trial.\n",
		c.Folder, strings.Join(names, "\n"), kit.Commitment, exchange.KitSeed)
	return nil
}

// newFolder makes the folder; one that is there must be empty.
func newFolder(path string) error {
	entries, err := os.ReadDir(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		if err := os.MkdirAll(path, 0o755); err != nil {
			return fmt.Errorf("the folder for the kit cannot be made: %w", err)
		}
		return nil
	case err != nil:
		return fmt.Errorf("the folder for the kit cannot be used: %w", err)
	case len(entries) > 0:
		return fmt.Errorf("%s is not empty (it holds %s), and a kit overwrites nothing; accepted: a folder that is new or empty", path, entries[0].Name())
	}
	return nil
}

// writeNew writes a file that must not be there yet.
func writeNew(path string, content []byte) error {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = file.Write(content)
	return errors.Join(err, file.Close())
}

// kitFlags are the flags behind a rule sheet's fields, by which faults are told.
var kitFlags = map[string]string{
	"title": "--changed, --usual", "alpha": "--false-alarms, of 1,", "question": "--question", "feature_changed": "--feature", "smallest_share": "--share", "species": "--species",
	"min_length_mm": "--min-length", "waters": "--water", "season_start": "--from", "season_end": "--to", "max_fish": "--fish", "rig.tippet_mm": "--tippet",
	"rig.hook_model": "--hook", "rig.hook_size": "--hook-size", "rig.barb": "--barb", "rig.spacing_cm": "--spacing", "lower_word": "--lower-word",
	"upper_word": "--upper-word", "swap": "--swap-fish, --swap-minutes", "swap.after_fish": "--swap-fish", "swap.after_minutes": "--swap-minutes",
	"welfare.local_rules": "--local-rules", "welfare.report_line": "--report-line", "anglers": "--angler", "rounds": "--rounds", "patterns": "--changed-code, --usual-code",
	"patterns[0].code": "--changed-code", "patterns[1].code": "--usual-code", "patterns[0].name": "--changed", "patterns[1].name": "--usual",
}

// kitFault is an error of the command line that names the flags at fault.
func kitFault(err error) error {
	known, ok := errors.AsType[*trial.Error](err)
	if !ok || known.Kind != trial.Invalid {
		return err
	}
	parts := make([]string, len(known.Fields))
	for i, f := range known.Fields {
		field, _, _ := strings.Cut(f.Field, "[")
		name := f.Field
		for _, candidate := range []string{field, f.Field} {
			if flag, ok := kitFlags[candidate]; ok {
				name = flag
			}
		}
		parts[i] = name + " " + f.Detail
	}
	return usageError{errors.New(strings.Join(parts, "; "))}
}
