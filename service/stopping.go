package main

import (
	"fmt"
	"time"
)

// stopping says how the service leaves.
type stopping struct {
	StopDelay time.Duration `name:"stop-delay" env:"EVENRIG_STOP_DELAY" default:"0s" placeholder:"TIME" help:"How long to go on answering after being told to stop, while /readyz says no, so that a balancer sends the next requests elsewhere: a little more than what it waits between two looks, 0s to 1m. Of no use without a balancer."`
}

func (c stopping) check() error {
	if c.StopDelay < 0 || c.StopDelay > time.Minute {
		return fmt.Errorf("EVENRIG_STOP_DELAY (--stop-delay) is %s; accepted: 0s to 1m", c.StopDelay)
	}
	return nil
}
