package exchange

import "iter"

// groups hands out a table's rows angler by angler, so that tables in the same order are joined with one angler's rows in memory.
type groups[T any] struct {
	next func() (T, error, bool)
	stop func()
	key  func(T) string
	row  T // the next row, if any
	err  error
	more bool
}

func newGroups[T any](rows Rows[T], key func(T) string) *groups[T] {
	if rows == nil {
		rows = RowsOf[T](nil)
	}
	g := &groups[T]{key: key}
	g.next, g.stop = iter.Pull2(iter.Seq2[T, error](rows))
	g.advance()
	return g
}

func (g *groups[T]) advance() {
	g.row, g.err, g.more = g.next()
}

// of returns the rows of the given angler, none where there are none. Anglers are asked for in order of pseudonym; rows of no angler (the
// organiser's) are passed over, rows of others in between are a fault.
func (g *groups[T]) of(angler string) (list []T, err error) {
	for g.more {
		if g.err != nil {
			return nil, g.err
		}
		k := g.key(g.row)
		switch {
		case k > angler:
			return list, nil
		case k == angler:
			if len(list) == maxListRows {
				return nil, packageFault("the package", "has more than %d rows of angler %q in one table; accepted: up to that", maxListRows, angler)
			}
			list = append(list, g.row)
		case k != "":
			return nil, packageFault("the package", "has rows of an angler %q who is not in anglers.csv", k)
		}
		g.advance()
	}
	return list, nil
}

// end passes over what is left and fails when there is any: rows of an angler who was not asked for.
func (g *groups[T]) end() error {
	switch {
	case !g.more:
		return nil
	case g.err != nil:
		return g.err
	}
	return packageFault("the package", "has rows of an angler %q who is not in anglers.csv", g.key(g.row))
}
