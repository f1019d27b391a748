package db

import (
	"fmt"
	"time"

	"github.com/jackc/pgx/v5/pgtype"

	"evenrig/service/trial"
)

// In trial a zero id, digest, code or time means that there is none; in the tables that is NULL. The codecs below carry
// the one to the other, both ways and in arrays too, so that records need no copy made of pointers. A column that must
// have a value is NOT NULL, which then refuses a zero one. Times come back in UTC.

// registerTypes teaches a connection trial's types.
func registerTypes(m *pgtype.Map) {
	register := func(name, array string, oid, arrayOID uint32, codec pgtype.Codec) {
		element := &pgtype.Type{Name: name, OID: oid, Codec: codec}
		m.RegisterType(element)
		m.RegisterType(&pgtype.Type{Name: array, OID: arrayOID, Codec: &pgtype.ArrayCodec{ElementType: element}})
	}
	register("uuid", "_uuid", pgtype.UUIDOID, pgtype.UUIDArrayOID, idCodec{})
	register("bytea", "_bytea", pgtype.ByteaOID, pgtype.ByteaArrayOID, digestCodec{})
	register("timestamptz", "_timestamptz", pgtype.TimestamptzOID, pgtype.TimestamptzArrayOID,
		timeCodec{&pgtype.TimestamptzCodec{ScanLocation: time.UTC}})
}

type (
	encodeFunc func(value any, buf []byte) ([]byte, error)
	scanFunc   func(src []byte, target any) error
)

func (f encodeFunc) Encode(value any, buf []byte) ([]byte, error) { return f(value, buf) }
func (f scanFunc) Scan(src []byte, target any) error              { return f(src, target) }

// pointing returns what finds a T in values like the given one, a T or a pointer to one; nil when that is neither.
func pointing[T any](value any) func(any) *T {
	switch value.(type) {
	case T:
		return func(value any) *T { v := value.(T); return &v }
	case *T:
		return func(value any) *T { return value.(*T) }
	}
	return nil
}

// view is an array argument: of each record the value, or what value points to, encoded from where it stands.
type view[R any] struct {
	records []R
	value   func(*R) any
}

func viewOf[R any](records []R, value func(*R) any) view[R] { return view[R]{records, value} }

// Dimensions implements pgtype.ArrayGetter.
func (v view[R]) Dimensions() []pgtype.ArrayDimension {
	return []pgtype.ArrayDimension{{Length: int32(len(v.records)), LowerBound: 1}}
}

// Index implements pgtype.ArrayGetter.
func (v view[R]) Index(i int) any { return v.value(&v.records[i]) }

// IndexType implements pgtype.ArrayGetter.
func (v view[R]) IndexType() any { return v.value(new(R)) }

// idCodec carries trial.ID.
type idCodec struct{ pgtype.UUIDCodec }

func (c idCodec) PlanEncode(m *pgtype.Map, oid uint32, format int16, value any) pgtype.EncodePlan {
	of := pointing[trial.ID](value)
	if of == nil {
		return c.UUIDCodec.PlanEncode(m, oid, format, value)
	}
	if format == pgtype.BinaryFormatCode {
		return encodeFunc(func(value any, buf []byte) ([]byte, error) {
			id := of(value)
			if id.IsZero() {
				return nil, nil
			}
			return append(buf, id[:]...), nil
		})
	}
	plan := c.UUIDCodec.PlanEncode(m, oid, format, pgtype.UUID{})
	return encodeFunc(func(value any, buf []byte) ([]byte, error) {
		id := of(value)
		return plan.Encode(pgtype.UUID{Bytes: *id, Valid: !id.IsZero()}, buf)
	})
}

func (c idCodec) PlanScan(m *pgtype.Map, oid uint32, format int16, target any) pgtype.ScanPlan {
	if _, ok := target.(*trial.ID); !ok {
		return c.UUIDCodec.PlanScan(m, oid, format, target)
	}
	if format == pgtype.BinaryFormatCode {
		return scanFunc(func(src []byte, target any) error {
			id := target.(*trial.ID)
			switch len(src) {
			case 0:
				*id = trial.ID{}
			case len(id):
				*id = trial.ID(src)
			default:
				return fmt.Errorf("an id has %d bytes, not 16", len(src))
			}
			return nil
		})
	}
	plan := c.UUIDCodec.PlanScan(m, oid, format, &pgtype.UUID{})
	return scanFunc(func(src []byte, target any) error {
		var u pgtype.UUID
		if err := plan.Scan(src, &u); err != nil {
			return err
		}
		*target.(*trial.ID) = u.Bytes
		return nil
	})
}

// digestCodec carries trial.Digest and [32]byte.
type digestCodec struct{ pgtype.ByteaCodec }

func (c digestCodec) PlanEncode(m *pgtype.Map, oid uint32, format int16, value any) pgtype.EncodePlan {
	var bytes32 func(value any) *[32]byte
	if of := pointing[trial.Digest](value); of != nil {
		bytes32 = func(value any) *[32]byte { return (*[32]byte)(of(value)) }
	} else if bytes32 = pointing[[32]byte](value); bytes32 == nil {
		return c.ByteaCodec.PlanEncode(m, oid, format, value)
	}
	plan := c.ByteaCodec.PlanEncode(m, oid, format, []byte(nil))
	return encodeFunc(func(value any, buf []byte) ([]byte, error) {
		b := bytes32(value)
		switch {
		case *b == [32]byte{}:
			return nil, nil
		case format == pgtype.BinaryFormatCode:
			return append(buf, b[:]...), nil
		}
		return plan.Encode(b[:], buf)
	})
}

func (c digestCodec) PlanScan(m *pgtype.Map, oid uint32, format int16, target any) pgtype.ScanPlan {
	var set func(target any, b [32]byte)
	switch target.(type) {
	case *trial.Digest:
		set = func(target any, b [32]byte) { *target.(*trial.Digest) = b }
	case *[32]byte:
		set = func(target any, b [32]byte) { *target.(*[32]byte) = b }
	default:
		return c.ByteaCodec.PlanScan(m, oid, format, target)
	}
	plan := c.ByteaCodec.PlanScan(m, oid, format, new([]byte))
	return scanFunc(func(src []byte, target any) error {
		var b []byte
		if err := plan.Scan(src, &b); err != nil {
			return err
		}
		switch len(b) {
		case 0:
			set(target, [32]byte{})
		case 32:
			set(target, [32]byte(b))
		default:
			return fmt.Errorf("a digest has %d bytes, not 32", len(b))
		}
		return nil
	})
}

// timeCodec carries time.Time.
type timeCodec struct{ *pgtype.TimestamptzCodec }

func (c timeCodec) PlanEncode(m *pgtype.Map, oid uint32, format int16, value any) pgtype.EncodePlan {
	of := pointing[time.Time](value)
	if of == nil {
		return c.TimestamptzCodec.PlanEncode(m, oid, format, value)
	}
	plan := c.TimestamptzCodec.PlanEncode(m, oid, format, pgtype.Timestamptz{})
	return encodeFunc(func(value any, buf []byte) ([]byte, error) {
		t := of(value)
		return plan.Encode(pgtype.Timestamptz{Time: *t, Valid: !t.IsZero()}, buf)
	})
}

func (c timeCodec) PlanScan(m *pgtype.Map, oid uint32, format int16, target any) pgtype.ScanPlan {
	if _, ok := target.(*time.Time); !ok {
		return c.TimestamptzCodec.PlanScan(m, oid, format, target)
	}
	plan := c.TimestamptzCodec.PlanScan(m, oid, format, &pgtype.Timestamptz{})
	return scanFunc(func(src []byte, target any) error {
		var t pgtype.Timestamptz
		if err := plan.Scan(src, &t); err != nil {
			return err
		}
		*target.(*time.Time) = t.Time
		return nil
	})
}

// offsetOf returns a device's offset from UTC in minutes, nil when there is no time.
func offsetOf(t time.Time) *int16 {
	if t.IsZero() {
		return nil
	}
	_, seconds := t.Zone()
	minutes := int16(seconds / 60)
	return &minutes
}

// offsetOfPointer is offsetOf for a time that may be missing.
func offsetOfPointer(t *time.Time) *int16 {
	if t == nil {
		return nil
	}
	return offsetOf(*t)
}

// in puts a time back into the zone of the device that sent it.
func in(t time.Time, offset *int16) time.Time {
	if offset == nil || *offset == 0 {
		return t
	}
	return t.In(time.FixedZone("", int(*offset)*60))
}

// inPointer is in for a time that may be missing.
func inPointer(t *time.Time, offset *int16) *time.Time {
	if t == nil {
		return nil
	}
	back := in(*t, offset)
	return &back
}
