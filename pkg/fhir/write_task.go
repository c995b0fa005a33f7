package fhir

import (
	"encoding/json"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"
)

type plainTask r4.Task

// Task is a Task to be written. Its fields are those of the samply struct but
// for input and output, which that struct would write with all fifty
// alternatives of value[x].
type Task struct {
	ResourceType string            `json:"resourceType"`
	Contained    []json.RawMessage `json:"contained,omitempty"`
	plainTask
	Input  []TaskParameter `json:"input,omitempty"`
	Output []TaskParameter `json:"output,omitempty"`
}

// NewTask returns a Task with the elements that R4 requires. intent is a code
// of the value set task-intent, for example "plan" or "order".
func NewTask(status r4.TaskStatus, intent string) *Task {
	t := &Task{ResourceType: "Task"}
	t.Status, t.Intent = status, intent
	return t
}

func (t *Task) typeName() string { return t.ResourceType }

// TaskParameter is one Task.input or Task.output: a type and exactly one value.
type TaskParameter struct {
	ID        *string            `json:"id,omitempty"`
	Extension []r4.Extension     `json:"extension,omitempty"`
	Type      r4.CodeableConcept `json:"type"`

	ValueAddress             *r4.Address             `json:"valueAddress,omitempty"`
	ValueAge                 *r4.Age                 `json:"valueAge,omitempty"`
	ValueAnnotation          *r4.Annotation          `json:"valueAnnotation,omitempty"`
	ValueAttachment          *r4.Attachment          `json:"valueAttachment,omitempty"`
	ValueBase64Binary        *string                 `json:"valueBase64Binary,omitempty"`
	ValueBoolean             *bool                   `json:"valueBoolean,omitempty"`
	ValueCanonical           *string                 `json:"valueCanonical,omitempty"`
	ValueCode                *string                 `json:"valueCode,omitempty"`
	ValueCodeableConcept     *r4.CodeableConcept     `json:"valueCodeableConcept,omitempty"`
	ValueCoding              *r4.Coding              `json:"valueCoding,omitempty"`
	ValueContactDetail       *r4.ContactDetail       `json:"valueContactDetail,omitempty"`
	ValueContactPoint        *r4.ContactPoint        `json:"valueContactPoint,omitempty"`
	ValueContributor         *r4.Contributor         `json:"valueContributor,omitempty"`
	ValueCount               *r4.Count               `json:"valueCount,omitempty"`
	ValueDataRequirement     *r4.DataRequirement     `json:"valueDataRequirement,omitempty"`
	ValueDate                *string                 `json:"valueDate,omitempty"`
	ValueDateTime            *string                 `json:"valueDateTime,omitempty"`
	ValueDecimal             *json.Number            `json:"valueDecimal,omitempty"`
	ValueDistance            *r4.Distance            `json:"valueDistance,omitempty"`
	ValueDosage              *r4.Dosage              `json:"valueDosage,omitempty"`
	ValueDuration            *r4.Duration            `json:"valueDuration,omitempty"`
	ValueExpression          *r4.Expression          `json:"valueExpression,omitempty"`
	ValueHumanName           *r4.HumanName           `json:"valueHumanName,omitempty"`
	ValueId                  *string                 `json:"valueId,omitempty"`
	ValueIdentifier          *r4.Identifier          `json:"valueIdentifier,omitempty"`
	ValueInstant             *string                 `json:"valueInstant,omitempty"`
	ValueInteger             *int                    `json:"valueInteger,omitempty"`
	ValueMarkdown            *string                 `json:"valueMarkdown,omitempty"`
	ValueMeta                *r4.Meta                `json:"valueMeta,omitempty"`
	ValueMoney               *r4.Money               `json:"valueMoney,omitempty"`
	ValueOid                 *string                 `json:"valueOid,omitempty"`
	ValueParameterDefinition *r4.ParameterDefinition `json:"valueParameterDefinition,omitempty"`
	ValuePeriod              *r4.Period              `json:"valuePeriod,omitempty"`
	ValuePositiveInt         *int                    `json:"valuePositiveInt,omitempty"`
	ValueQuantity            *r4.Quantity            `json:"valueQuantity,omitempty"`
	ValueRange               *r4.Range               `json:"valueRange,omitempty"`
	ValueRatio               *r4.Ratio               `json:"valueRatio,omitempty"`
	ValueReference           *r4.Reference           `json:"valueReference,omitempty"`
	ValueRelatedArtifact     *r4.RelatedArtifact     `json:"valueRelatedArtifact,omitempty"`
	ValueSampledData         *r4.SampledData         `json:"valueSampledData,omitempty"`
	ValueSignature           *r4.Signature           `json:"valueSignature,omitempty"`
	ValueString              *string                 `json:"valueString,omitempty"`
	ValueTime                *string                 `json:"valueTime,omitempty"`
	ValueTiming              *r4.Timing              `json:"valueTiming,omitempty"`
	ValueTriggerDefinition   *r4.TriggerDefinition   `json:"valueTriggerDefinition,omitempty"`
	ValueUnsignedInt         *int                    `json:"valueUnsignedInt,omitempty"`
	ValueUri                 *string                 `json:"valueUri,omitempty"`
	ValueUrl                 *string                 `json:"valueUrl,omitempty"`
	ValueUsageContext        *r4.UsageContext        `json:"valueUsageContext,omitempty"`
	ValueUuid                *string                 `json:"valueUuid,omitempty"`
}

// TaskString is a parameter with a text as its value.
func TaskString(kind r4.CodeableConcept, value string) TaskParameter {
	return TaskParameter{Type: kind, ValueString: &value}
}

// TaskBoolean is a parameter with true or false as its value.
func TaskBoolean(kind r4.CodeableConcept, value bool) TaskParameter {
	return TaskParameter{Type: kind, ValueBoolean: &value}
}

// TaskDateTime is a parameter with a dateTime, as R4 writes it, as its value.
func TaskDateTime(kind r4.CodeableConcept, value string) TaskParameter {
	return TaskParameter{Type: kind, ValueDateTime: &value}
}

// TaskCode is a parameter with a coded value.
func TaskCode(kind, value r4.CodeableConcept) TaskParameter {
	return TaskParameter{Type: kind, ValueCodeableConcept: &value}
}

// TaskReference is a parameter that points to a resource.
func TaskReference(kind r4.CodeableConcept, value r4.Reference) TaskParameter {
	return TaskParameter{Type: kind, ValueReference: &value}
}
