package conduct

import (
	"reflect"
	"testing"
	"time"

	"evenrig/service/exchange"
)

// The spool's binary form leaves out what is 0 and cannot tell a pointer to a 0 from none: the records hold no pointer to anything but
// structs and times, and nothing that has no type of its own.
func TestSpoolLosesNothing(t *testing.T) {
	t.Parallel()
	seen := map[reflect.Type]bool{}
	var walk func(path string, of reflect.Type)
	walk = func(path string, of reflect.Type) {
		if seen[of] || of == reflect.TypeFor[time.Time]() {
			return
		}
		seen[of] = true
		switch of.Kind() {
		case reflect.Pointer:
			if of.Elem().Kind() != reflect.Struct {
				t.Errorf("%s is a pointer to %v", path, of.Elem())
			}
			walk(path, of.Elem())
		case reflect.Interface, reflect.Func, reflect.Chan:
			t.Errorf("%s is a %v", path, of.Kind())
		case reflect.Slice, reflect.Array, reflect.Map:
			walk(path+"[]", of.Elem())
		case reflect.Struct:
			for _, field := range reflect.VisibleFields(of) {
				if !field.IsExported() {
					t.Errorf("%s.%s is not exported", path, field.Name)
				}
				walk(path+"."+field.Name, field.Type)
			}
		}
	}
	walk("angler", reflect.TypeFor[exchange.SourceAngler]())
}
