package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"time"

	"evenrig/service/conduct"
)

// rekeyCommand replaces the key that seals draws.
type rekeyCommand struct{ storage }

// Run makes a new key, seals every draw under it, and puts it in the old one's place. The old one is kept beside it: older
// backups still need it.
func (c *rekeyCommand) Run(s streams) (err error) {
	ctx := context.Background()
	if err := c.check(); err != nil {
		return usageError{err}
	}
	place := c.sealKeyPath()
	fresh, old := place+".new", place+".before-"+time.Now().UTC().Format("20060102T150405Z")
	p, err := c.assemble(ctx, c.ownDatabase, c.log(s), time.Now)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.close()) }()
	var key conduct.SealKey
	if _, err := rand.Read(key[:]); err != nil {
		return err
	}
	// On disk before anything is sealed under it.
	if err := writeSealKey(fresh, key); err != nil {
		return fmt.Errorf("make the new key (if %s was left by a rekey that was broken off and `evenrig check` is content without it, delete it): %w", fresh, err)
	}
	done, err := p.service.Rekey(ctx, key)
	if err != nil {
		return errors.Join(fmt.Errorf("nothing was changed: %w", err), os.Remove(fresh))
	}
	err = os.Rename(place, old)
	if err == nil {
		err = os.Rename(fresh, place)
	}
	if err != nil {
		return fmt.Errorf("the draws are sealed under the key in %s, which could not be put in its place; do so by hand: %w", fresh, err)
	}
	fmt.Fprintf(s.out, "%s sealed under a new key, which is in %s; copy it to where copies are kept\n", plural(done.Draws, "draw is", "draws are"), place)
	fmt.Fprintf(s.out, "the old key is in %s; backups made before now need it: move it to where they are kept\n", old)
	if done.Recorded > 0 {
		fmt.Fprintf(s.out, "%s imported tables: tables imported into them from now on bring anglers that count as new ones\n", plural(done.Recorded, "trial has", "trials have"))
	}
	return nil
}
