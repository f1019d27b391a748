package api

import (
	"reflect"
	"slices"

	"github.com/getkin/kin-openapi/openapi3"
)

// shape is what of a schema can be told by looking over a JSON text once. It is asked before the schema: what certainly fits needs no
// walk that would name its faults, and most of what is sent fits. Of what it is not sure, be it only written in an unusual way, it
// says no, and the schema decides.
type shape struct {
	text, number, integer, boolean, null bool
	format                               func([]byte) error // of a text, nil for any
	items                                *shape             // nil unless it may be a list
	members                              map[string]shapeMember
	required                             uint64 // the bits of the members that must be there
}

// shapeMember is a member of an object, which has a bit of its own.
type shapeMember struct {
	*shape
	bit uint64
}

// shapeOf returns the shape of a schema, nil, which nothing fits, where the schema says more than a shape can.
func shapeOf(schema *openapi3.Schema) *shape {
	if len(schema.OneOf) > 0 {
		return shapeOrNull(schema)
	}
	if !isSimple(schema) {
		return nil
	}
	s := &shape{}
	for _, kind := range schema.Type.Slice() {
		switch kind {
		case openapi3.TypeString:
			s.text = true
		case openapi3.TypeNumber:
			s.number, s.integer = true, true
		case openapi3.TypeInteger:
			s.integer = true
		case openapi3.TypeBoolean:
			s.boolean = true
		case openapi3.TypeNull:
			s.null = true
		case openapi3.TypeArray:
			if schema.Items == nil {
				return nil
			}
			if s.items = shapeOf(schema.Items.Value); s.items == nil {
				return nil
			}
		case openapi3.TypeObject:
			if !s.addMembers(schema) {
				return nil
			}
		default:
			return nil
		}
	}
	switch schema.Format {
	case "", "double":
	case "uuid":
		s.format = func(text []byte) error { return isUUID(string(text)) }
	case "date-time":
		s.format = func(text []byte) error { return isTime(string(text)) }
	default:
		return nil
	}
	return s
}

// shapeOrNull is the shape of a schema that says oneOf: something, or null.
func shapeOrNull(schema *openapi3.Schema) *shape {
	bare := *schema
	bare.OneOf = nil
	if !isSimple(&bare) || bare.Type != nil || len(schema.OneOf) != 2 {
		return nil
	}
	null := slices.IndexFunc(schema.OneOf, func(o *openapi3.SchemaRef) bool { return o.Value.Type.Is(openapi3.TypeNull) })
	if null < 0 {
		return nil
	}
	s := shapeOf(schema.OneOf[1-null].Value)
	if s != nil {
		s.null = true
	}
	return s
}

// addMembers adds an object's members, and reports whether all of them have a shape.
func (s *shape) addMembers(schema *openapi3.Schema) bool {
	s.members = map[string]shapeMember{}
	for name, property := range schema.Properties {
		member := shapeMember{shapeOf(property.Value), 1 << len(s.members)}
		if member.shape == nil || member.bit == 0 {
			return false
		}
		s.members[name] = member
	}
	for _, name := range schema.Required {
		member, known := s.members[name]
		if !known {
			return false
		}
		s.required |= member.bit
	}
	return true
}

// isSimple reports whether a schema says nothing but what a shape knows, or what asks nothing of a value.
func isSimple(schema *openapi3.Schema) bool {
	rest := *schema
	rest.Extensions, rest.Origin, rest.Title, rest.Description, rest.Default, rest.Example, rest.Examples = nil, nil, "", "", nil, nil, nil
	rest.Type, rest.Format, rest.Items, rest.Properties, rest.Required = nil, "", nil, nil, nil
	rest.AdditionalProperties = openapi3.AdditionalProperties{} // a member that is not known is no matter of the shape's
	return reflect.ValueOf(rest).IsZero()
}

// fits reports whether a JSON text, in valid UTF-8, is one value that certainly fits.
func (s *shape) fits(text []byte) bool {
	if s == nil {
		return false
	}
	c := cursor{text: text}
	if !c.value(s) {
		return false
	}
	c.skipSpace()
	return c.at == len(text)
}

// cursor goes through a JSON text (RFC 8259) by what is expected of it.
type cursor struct {
	text []byte
	at   int
}

func (c *cursor) skipSpace() {
	for c.at < len(c.text) && (c.text[c.at] == ' ' || c.text[c.at] == '\n' || c.text[c.at] == '\t' || c.text[c.at] == '\r') {
		c.at++
	}
}

// take steps over a sign, with the space before it, if it comes next.
func (c *cursor) take(sign byte) bool {
	c.skipSpace()
	if c.at == len(c.text) || c.text[c.at] != sign {
		return false
	}
	c.at++
	return true
}

func (c *cursor) value(s *shape) bool {
	c.skipSpace()
	if c.at == len(c.text) {
		return false
	}
	switch c.text[c.at] {
	case '{':
		return s.members != nil && c.object(s)
	case '[':
		return s.items != nil && c.list(s.items)
	case '"':
		text, ok := c.string()
		return ok && s.text && (s.format == nil || s.format(text) == nil)
	case 't':
		return s.boolean && c.word("true")
	case 'f':
		return s.boolean && c.word("false")
	case 'n':
		return s.null && c.word("null")
	}
	return c.number(s)
}

func (c *cursor) object(s *shape) bool {
	var seen uint64
	c.take('{')
	for more := !c.take('}'); more; {
		name, ok := c.string()
		member, known := s.members[string(name)]
		if !ok || !known || seen&member.bit != 0 || !c.take(':') || !c.value(member.shape) {
			return false
		}
		seen |= member.bit
		if more = c.take(','); !more && !c.take('}') {
			return false
		}
	}
	return seen&s.required == s.required
}

func (c *cursor) list(item *shape) bool {
	c.take('[')
	for more := !c.take(']'); more; {
		if !c.value(item) {
			return false
		}
		if more = c.take(','); !more && !c.take(']') {
			return false
		}
	}
	return true
}

// string returns what stands between quotation marks, if nothing of it is written in another way.
func (c *cursor) string() (text []byte, ok bool) {
	if !c.take('"') {
		return nil, false
	}
	for begin := c.at; c.at < len(c.text) && c.text[c.at] >= ' ' && c.text[c.at] != '\\'; c.at++ {
		if c.text[c.at] == '"' {
			c.at++
			return c.text[begin : c.at-1], true
		}
	}
	return nil, false
}

func (c *cursor) word(word string) bool {
	if len(c.text)-c.at < len(word) || string(c.text[c.at:c.at+len(word)]) != word {
		return false
	}
	c.at += len(word)
	return true
}

// number takes numbers of up to so many digits, without an exponent: they fit every type.
func (c *cursor) number(s *shape) bool {
	const digitsMost = 15
	if c.at < len(c.text) && c.text[c.at] == '-' {
		c.at++
	}
	zero := c.at < len(c.text) && c.text[c.at] == '0'
	whole := c.digits()
	if whole == 0 || whole > 1 && zero || whole > digitsMost {
		return false
	}
	if c.at == len(c.text) || c.text[c.at] != '.' {
		return s.integer
	}
	c.at++
	places := c.digits()
	return s.number && places > 0 && whole+places <= digitsMost
}

// digits steps over digits and counts them.
func (c *cursor) digits() (n int) {
	for c.at < len(c.text) && c.text[c.at] >= '0' && c.text[c.at] <= '9' {
		c.at++
		n++
	}
	return n
}
