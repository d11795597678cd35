package app

import (
	"context"
	"time"
)

// expiryPause is how often approvals that were not used in time are said to have expired. Nothing waits for it: whoever reads or
// enters such a plan is told by the clock; this frees the people and cylinders it bound.
const expiryPause = time.Minute

// expire runs until ctx ends. Any number of servers may: each takes the plans that no other has in hand.
func (s *Server) expire(ctx context.Context) {
	tick := time.NewTicker(expiryPause)
	defer tick.Stop()
	for {
		once, cancel := context.WithTimeout(ctx, expiryPause)
		n, err := s.store.ExpirePlans(once)
		cancel()
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			s.log.Error("approvals not used in time were not marked", "error", err.Error())
		case n > 0:
			s.log.Info("approvals expired", "plans", n)
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}

// letters runs until ctx ends, where mail is sent at all.
func (s *Server) letters(ctx context.Context) {
	if s.post == nil {
		return
	}
	tick := time.NewTicker(s.config.MailPause)
	defer tick.Stop()
	for {
		if err := s.post.Round(ctx); err != nil && ctx.Err() == nil {
			s.log.Error("letters were not sent", "error", err.Error())
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}
