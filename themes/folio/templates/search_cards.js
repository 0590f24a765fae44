{% from "entry.html" import entry with context %}
{% macro result(p) %}{{ entry(p)|trim|tojson }}{% endmacro %}
loadSearchCards([
{% for p in pictures %}
{{ result|part(p) }}{% if not loop.last %},{% endif +%}
{% endfor %}
]);
