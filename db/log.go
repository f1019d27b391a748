package db

import (
	"context"
	"log/slog"
)

// queueLog is the log for the job queue, whose news below a warning is of use only to who looks for a fault: it is
// shown where debugging is.
func queueLog(log *slog.Logger) *slog.Logger { return slog.New(quieter{log.Handler()}) }

type quieter struct{ slog.Handler }

func (q quieter) Enabled(ctx context.Context, level slog.Level) bool {
	if level < slog.LevelWarn {
		level = slog.LevelDebug
	}
	return q.Handler.Enabled(ctx, level)
}

func (q quieter) WithAttrs(attrs []slog.Attr) slog.Handler {
	return quieter{q.Handler.WithAttrs(attrs)}
}

func (q quieter) WithGroup(name string) slog.Handler { return quieter{q.Handler.WithGroup(name)} }
