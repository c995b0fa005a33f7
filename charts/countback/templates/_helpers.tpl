{{/* The name of everything this release makes. */}}
{{- define "countback.name" -}}
{{- $chart := default .Chart.Name .Values.nameOverride -}}
{{- if contains $chart .Release.Name -}}
{{- .Release.Name | trunc 52 | trimSuffix "-" -}}
{{- else -}}
{{- printf "%s-%s" .Release.Name $chart | trunc 52 | trimSuffix "-" -}}
{{- end -}}
{{- end -}}

{{/* The labels by which the pod is found; they never change. */}}
{{- define "countback.selector" -}}
app.kubernetes.io/name: {{ .Chart.Name }}
app.kubernetes.io/instance: {{ .Release.Name }}
{{- end -}}

{{- define "countback.labels" -}}
{{ include "countback.selector" . }}
app.kubernetes.io/version: {{ .Chart.AppVersion | quote }}
app.kubernetes.io/managed-by: {{ .Release.Service }}
helm.sh/chart: {{ printf "%s-%s" .Chart.Name .Chart.Version | quote }}
{{- end -}}

{{/* What would be refused by the program, or would serve nothing, is refused here. */}}
{{- define "countback.check" -}}
{{- if not (regexMatch "^(127\\.0\\.0\\.1|localhost|\\[::1\\]):[0-9]+$" .Values.addr) -}}
{{- fail (printf "addr %s is not on loopback: countback serve refuses to listen beyond it while no authentication is configured. Put an authenticating proxy into extraContainers and point service.targetPort at it." .Values.addr) -}}
{{- end -}}
{{- with .Values.hl7.listen -}}
{{- if not (regexMatch "^(127\\.0\\.0\\.1|localhost|\\[::1\\]):[0-9]+$" .) -}}
{{- fail (printf "hl7.listen %s is not on loopback: countback serve refuses to listen beyond it while no authentication is configured. Put a container that ends TLS into extraContainers and point hl7.targetPort at it." .) -}}
{{- end -}}
{{- end -}}
{{- if and .Values.hl7.targetPort (not .Values.hl7.listen) -}}
{{- fail "hl7.targetPort needs hl7.listen: nothing would take what comes." -}}
{{- end -}}
{{- if and .Values.service.enabled (not .Values.service.targetPort) -}}
{{- fail "service.enabled needs service.targetPort, the port of an authenticating proxy in extraContainers: countback itself listens on the pod's loopback only." -}}
{{- end -}}
{{- end -}}
