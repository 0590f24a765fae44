{% from "parts.html" import card with context %}
{% macro result(p) %}{{ card(p)|trim|tojson }}{% endmacro %}
loadSearchCards([
{% for p in pictures %}
{{ result|part(p) }}{% if not loop.last %},{% endif +%}
{% endfor %}
]);
