// Command service is evenrig: a fishing club runs a paired two-fly trial with it and gets pooled, honest results. Every
// tool is a subcommand.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"

	"github.com/alecthomas/kong"
	"golang.org/x/crypto/acme/autocert"
)

// commands are the subcommands; each has a Run method that takes the streams.
type commands struct {
	Serve     serveCommand     `cmd:"" help:"Run the service."`
	Demo      demoCommand      `cmd:"" help:"Play an invented club's trial through the API and serve its report."`
	Analyse   analyseCommand   `cmd:"" help:"Analyse a catch table, without any database."`
	Token     tokenCommand     `cmd:"" help:"Make a server admin and print the token."`
	Migrate   migrateCommand   `cmd:"" help:"Change the database's schema."`
	Plan      planCommand      `cmd:"" help:"Say how many fish and how many anglers a trial needs, without any database."`
	Verify    verifyCommand    `cmd:"" help:"Work a published package out again: draw, chains, counts and result, without any database."`
	Kit       kitCommand       `cmd:"" help:"Make rule sheet, sealed slips and pocket cards for a trial on paper, without any database."`
	Check     checkCommand     `cmd:"" help:"Look whether the records agree with themselves."`
	Backup    backupCommand    `cmd:"" help:"Copy the records and the key that seals draws into a new folder."`
	Restore   restoreCommand   `cmd:"" help:"Put a backup into an empty database and check it."`
	Rekey     rekeyCommand     `cmd:"" help:"Replace the key that seals draws by a new one; the service must be stopped."`
	Calibrate calibrateCommand `cmd:"" help:"Measure by simulation how far each method's interval can be trusted."`
	Version   versionCommand   `cmd:"" help:"Print the program's version."`
}

// streams are what a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// The exit statuses beside 0: the data are at fault, or the command line is.
const (
	exitData  = 1
	exitUsage = 2
)

// usageError is an error of the command line.
type usageError struct{ error }

func main() {
	os.Exit(run(os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr}, os.Exit))
}

// newParser reads command lines into c.
func newParser(c *commands, s streams, exit func(int)) (*kong.Kong, error) {
	return kong.New(c, kong.Name("evenrig"), kong.Description("evenrig: paired two-fly trials."), kong.Writers(s.out, s.err), kong.Exit(exit), kong.Vars{"data": defaultData(), "acme": autocert.DefaultACMEDirectory})
}

// run carries out one command line and returns the exit status; exit ends the program after help was printed.
func run(args []string, s streams, exit func(int)) int {
	var c commands
	parser, err := newParser(&c, s, exit)
	if err != nil {
		fmt.Fprintln(s.err, err)
		return exitData
	}
	command, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintf(s.err, "%v; `evenrig --help` lists what is accepted\n", err)
		return exitUsage
	}
	err = command.Run(s)
	switch usage := (usageError{}); {
	case err == nil:
		return 0
	case errors.As(err, &usage):
		fmt.Fprintf(s.err, "%v; `evenrig --help` lists what is accepted\n", err)
		return exitUsage
	}
	fmt.Fprintln(s.err, err)
	return exitData
}

// programVersion is the version that results are marked with: the module's, or the revision that was built.
func programVersion() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return s.Value
		}
	}
	return "development"
}
