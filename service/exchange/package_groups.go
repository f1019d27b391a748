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

// of returns the rows of the given angler, none where there are none. Anglers are asked for in order of pseudonym; rows of anglers
// in between that nobody asks for are passed over, which whoever joins tables finds by counting.
func (g *groups[T]) of(angler string) (list []T, err error) {
	for g.more {
		if g.err != nil {
			return nil, g.err
		}
		k := g.key(g.row)
		if k > angler {
			return list, nil
		}
		if k == angler {
			if len(list) == MaxRows {
				return nil, packageFault("the package", "has more than %d rows of angler %q in one table; accepted: up to that", MaxRows, angler)
			}
			list = append(list, g.row)
		}
		g.advance()
	}
	return list, nil
}
