// Package wire encodes results as JSON and reads them back.
//
// The libraries say "not measurable" with NaN, and silence or a perfect null with an infinite level. JSON has
// neither, and the contract wants null for both; so Marshal writes null, and Unmarshal reads null as NaN. Results
// of measurements and of statistics do this themselves: their MarshalJSON calls Object, their UnmarshalJSON calls Unmarshal
// on a type without methods, so that their users need only encoding/json.
package wire

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
	"iter"
	"math"
	"reflect"
	"strings"
)

// Marshal returns v as one JSON object on one line, with null for every NaN or infinite number. Struct tags
// are encoding/json's: the name, "-", omitempty (an omitted zero value), and fields of embedded structs. An embedded
// fielder is written as the fields that it names; Unmarshal does not read those.
func Marshal(v any) ([]byte, error) {
	var b bytes.Buffer
	if err := write(&b, reflect.ValueOf(v)); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// Object is the MarshalJSON of a struct whose numbers may be NaN or infinite: Marshal of its fields.
func Object(v any) ([]byte, error) {
	var b bytes.Buffer
	if err := writeStruct(&b, reflect.ValueOf(v)); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func write(b *bytes.Buffer, v reflect.Value) error {
	if !v.IsValid() {
		b.WriteString("null")
		return nil
	}
	if ownForm(v) {
		return writeStandard(b, v)
	}
	switch v.Kind() {
	case reflect.Float32, reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			b.WriteString("null")
			return nil
		}
	case reflect.Pointer, reflect.Interface:
		return write(b, v.Elem())
	case reflect.Struct:
		return writeStruct(b, v)
	case reflect.Map:
		return writeMap(b, v)
	case reflect.Slice, reflect.Array:
		return writeList(b, v)
	}
	return writeStandard(b, v)
}

// ownForm reports whether v has a method of its own that writes it. A method that Go promotes from an embedded result does not
// count: it would write that result alone.
func ownForm(v reflect.Value) bool {
	if (v.Kind() == reflect.Pointer || v.Kind() == reflect.Interface) && v.IsNil() {
		return false
	}
	if v.Kind() == reflect.Struct {
		for i := range v.NumField() {
			if f := v.Type().Field(i); embedded(f) && f.Type.Implements(reflect.TypeFor[json.Marshaler]()) {
				return false
			}
		}
	}
	_, text := v.Interface().(encoding.TextMarshaler)
	_, own := v.Interface().(json.Marshaler)
	return text || own
}

func writeStandard(b *bytes.Buffer, v reflect.Value) error {
	var plain bytes.Buffer
	enc := json.NewEncoder(&plain)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v.Interface()); err != nil {
		return fmt.Errorf("wire: %w", err)
	}
	b.Write(bytes.TrimRight(plain.Bytes(), "\n"))
	return nil
}

func writeStruct(b *bytes.Buffer, v reflect.Value) error {
	b.WriteByte('{')
	first := true
	if err := writeFields(b, v, &first); err != nil {
		return err
	}
	b.WriteByte('}')
	return nil
}

// fielder names its fields, where they are known only at run time.
type fielder interface{ Fields() iter.Seq2[string, any] }

func writeFields(b *bytes.Buffer, v reflect.Value, first *bool) error {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		if field.Anonymous && field.Type.Implements(reflect.TypeFor[fielder]()) {
			for name, value := range v.Field(i).Interface().(fielder).Fields() {
				if err := writeField(b, name, reflect.ValueOf(value), first); err != nil {
					return err
				}
			}
			continue
		}
		if embedded(field) {
			if err := writeFields(b, v.Field(i), first); err != nil {
				return err
			}
			continue
		}
		name, omitEmpty, ok := fieldName(field)
		if !ok || omitEmpty && empty(v.Field(i)) {
			continue
		}
		if err := writeField(b, name, v.Field(i), first); err != nil {
			return err
		}
	}
	return nil
}

func writeField(b *bytes.Buffer, name string, v reflect.Value, first *bool) error {
	if !*first {
		b.WriteByte(',')
	}
	*first = false
	fmt.Fprintf(b, "%q:", name)
	if err := write(b, v); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

// embedded reports whether the fields of f are written as those of the struct around it.
func embedded(f reflect.StructField) bool {
	return f.Anonymous && f.Type.Kind() == reflect.Struct && f.Tag.Get("json") == ""
}

func fieldName(f reflect.StructField) (name string, omitEmpty, ok bool) {
	tag := f.Tag.Get("json")
	if !f.IsExported() || tag == "-" {
		return "", false, false
	}
	name, options, _ := strings.Cut(tag, ",")
	if name == "" {
		name = f.Name
	}
	return name, strings.Contains(options, "omitempty"), true
}

func empty(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice, reflect.Map:
		return v.Len() == 0
	}
	return v.IsZero()
}

func writeMap(b *bytes.Buffer, v reflect.Value) error {
	if v.IsNil() {
		b.WriteString("{}")
		return nil
	}
	plain := make(map[string]json.RawMessage, v.Len())
	for it := v.MapRange(); it.Next(); {
		var one bytes.Buffer
		if err := write(&one, it.Value()); err != nil {
			return err
		}
		plain[it.Key().String()] = one.Bytes()
	}
	return writeStandard(b, reflect.ValueOf(plain))
}

// writeList writes a nil slice as [], so that a reader can always loop over it.
func writeList(b *bytes.Buffer, v reflect.Value) error {
	if v.Type().Elem().Kind() == reflect.Uint8 && v.Kind() == reflect.Slice {
		return writeStandard(b, v) // bytes are base64
	}
	b.WriteByte('[')
	for i := range v.Len() {
		if i > 0 {
			b.WriteByte(',')
		}
		if err := write(b, v.Index(i)); err != nil {
			return err
		}
	}
	b.WriteByte(']')
	return nil
}

// Unmarshal reads what Marshal wrote into the struct v points to: a null where v has a float64 becomes NaN.
// Numbers that the data do not name become NaN too, so that an older record never reads as a measured zero.
func Unmarshal(data []byte, v any) error {
	if err := json.Unmarshal(data, v); err != nil {
		return fmt.Errorf("wire: %w", err)
	}
	var tree any
	if err := json.Unmarshal(data, &tree); err != nil {
		return fmt.Errorf("wire: %w", err)
	}
	blank(reflect.ValueOf(v), tree)
	return nil
}

// blank sets to NaN the float64 values below v for which tree holds nothing.
func blank(v reflect.Value, tree any) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			blank(v.Elem(), tree)
		}
	case reflect.Float64:
		if tree == nil && v.CanSet() {
			v.SetFloat(math.NaN())
		}
	case reflect.Struct:
		blankFields(v, tree)
	case reflect.Slice, reflect.Array:
		list, _ := tree.([]any)
		for i := range v.Len() {
			if i < len(list) {
				blank(v.Index(i), list[i])
			} else {
				blank(v.Index(i), nil)
			}
		}
	}
}

func blankFields(v reflect.Value, tree any) {
	object, _ := tree.(map[string]any)
	for i := range v.NumField() {
		field := v.Type().Field(i)
		if embedded(field) {
			blankFields(v.Field(i), tree)
			continue
		}
		if name, _, ok := fieldName(field); ok {
			blank(v.Field(i), object[name])
		}
	}
}
