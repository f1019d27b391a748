package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"evenrig/db"
	"evenrig/service/conduct"
)

// tokenCommand makes an admin's account and prints its token.
type tokenCommand struct {
	storage
	Admin bool   `required:"" help:"Make a server admin, who founds clubs. Other people join by invitation."`
	Name  string `default:"server admin" placeholder:"NAME" help:"The admin's name."`
}

// Run prints the token's secret alone, so that a script can take it.
func (c *tokenCommand) Run(s streams) error {
	ctx := context.Background()
	if err := c.check(); err != nil {
		return usageError{err}
	}
	p, err := c.assemble(ctx, c.anyDatabase, c.log(s), time.Now)
	if err != nil {
		return err
	}
	secret, err := p.service.FirstAdmin(ctx, c.Name)
	if err == nil {
		fmt.Fprintln(s.out, secret)
	}
	return errors.Join(err, p.close())
}

// inviteFirstAdmin prints how the first admin of a server gets in that knows nobody yet: once, within an hour. The secret
// goes to whoever started the program and to no log.
func (p *parts) inviteFirstAdmin(ctx context.Context, s streams, url string) error {
	secret, err := p.service.FirstAdminLink(ctx)
	if err == nil && secret != "" {
		fmt.Fprintf(s.out, `Nobody is known here yet. Become the first admin within an hour, in a browser:
  %[2]s/first-admin#%[1]s
or by the API:
  curl -H 'Content-Type: application/json' -d '{"secret": %[1]q, "name": "YOUR NAME", "token": {"name": "desk"}}' %[2]s/v1/first-admin
`, secret, url)
	}
	return err
}

// checkCommand looks whether the records agree with themselves.
type checkCommand struct{ storage }

// Run prints what was gone through and every fault, and fails when there is one.
func (c *checkCommand) Run(s streams) error {
	ctx := context.Background()
	if err := c.check(); err != nil {
		return usageError{err}
	}
	p, err := c.assemble(ctx, c.anyDatabase, c.log(s), time.Now)
	if err != nil {
		return err
	}
	checked, err := p.service.Check(ctx)
	if err = errors.Join(err, p.close()); err != nil {
		return err
	}
	return printChecked(s.out, checked)
}

// printChecked prints what was gone through and every fault, and fails when there is one.
func printChecked(out io.Writer, checked conduct.Checked) error {
	fmt.Fprintf(out, "%s, %s with %s, %s gone through\n", plural(checked.Trials, "trial", "trials"), plural(checked.Chains, "chain", "chains"),
		plural(checked.Entries, "entry", "entries"), plural(checked.Counts, "count", "counts"))
	for _, f := range checked.Faults {
		fmt.Fprintln(out, f)
	}
	if n := len(checked.Faults); n > 0 {
		return fmt.Errorf("%s: the records do not agree with themselves", plural(n, "fault", "faults"))
	}
	fmt.Fprintln(out, "all agrees")
	return nil
}

// migrateCommand changes the database's schema.
type migrateCommand struct {
	Up      migrateUp      `cmd:"" help:"Bring the schema to this program's version."`
	Down    migrateDown    `cmd:"" help:"Take back the last steps. This deletes what they hold."`
	Version migrateVersion `cmd:"" help:"Print the schema's version."`
}

type migrateUp struct{ storage }

type migrateDown struct {
	storage
	Steps int `default:"1" placeholder:"N" help:"How many steps, 1 or more."`
}

type migrateVersion struct{ storage }

// Run brings the schema up.
func (c *migrateUp) Run(s streams) error {
	return c.onDatabase(s, func(ctx context.Context, url string) error { return db.MigrateUp(ctx, url) })
}

// Run takes steps back.
func (c *migrateDown) Run(s streams) error {
	if c.Steps < 1 {
		return usageError{fmt.Errorf("--steps is %d; accepted: 1 or more", c.Steps)}
	}
	return c.onDatabase(s, func(ctx context.Context, url string) error { return db.MigrateDown(ctx, url, c.Steps) })
}

// Run prints the version.
func (c *migrateVersion) Run(s streams) error {
	return c.onDatabase(s, func(context.Context, string) error { return nil })
}

// onDatabase runs do on the database and prints the schema's version afterwards.
func (c *storage) onDatabase(s streams, do func(ctx context.Context, url string) error) error {
	ctx := context.Background()
	if err := c.check(); err != nil {
		return usageError{err}
	}
	d, err := c.anyDatabase(ctx, c.log(s))
	if err != nil {
		return err
	}
	if err = do(ctx, d.url); err == nil {
		var version uint
		if version, err = db.MigrationVersion(ctx, d.url); err == nil {
			fmt.Fprintf(s.out, "schema version %d\n", version)
		}
	}
	return errors.Join(err, d.close())
}

// versionCommand prints the program's version.
type versionCommand struct{}

// Run prints the version.
func (versionCommand) Run(s streams) error {
	_, err := fmt.Fprintln(s.out, "evenrig", programVersion())
	return err
}
