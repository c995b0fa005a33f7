package siu

// set gives an object a member, unless there is nothing to say: FHIR knows no
// empty values.
func set[T any](o object, name string, v T) {
	switch v := any(v).(type) {
	case string:
		if v == "" {
			return
		}
	case []string:
		if len(v) == 0 {
			return
		}
	case []object:
		if len(v) == 0 {
			return
		}
	case object:
		if len(v) == 0 {
			return
		}
	}
	o[name] = v
}

// list holds the one value, or nothing.
func list[T string | object](v T) []T {
	switch v := any(v).(type) {
	case string:
		if v == "" {
			return nil
		}
	case object:
		if len(v) == 0 {
			return nil
		}
	}
	return []T{v}
}
