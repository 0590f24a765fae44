{% from "parts.html" import card with context %}
loadSearchCards([
{% for p in pictures %}
{{ card(p)|trim|tojson }}{% if not loop.last %},{% endif +%}
{% endfor %}
]);
