from .chapters import read_chapters
from .equations import equation
from .example import example_site
from .pages import write_guide
from .reference import (
    cause_list,
    column_list,
    command_list,
    fault_list,
    flag_list,
    function_list,
    metric_list,
    note_list,
    option_list,
    public_names,
    quantity_list,
    rule_list,
    setting_list,
    stage_list,
)
from .sketches import draw_day, draw_drip_loop, draw_edges, draw_rooms, spoilt_examples, stage_examples
